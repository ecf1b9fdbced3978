#include "grade/write.h"

#include "files/partial_file.h"
#include "files/staged_folder.h"
#include "grade/grade_json.h"
#include "grade/page.h"
#include "grade/tables.h"

namespace rhumb::grade {

void write_programme(const Programme& programme, const std::filesystem::path& out) {
  files::StagedFolder folder(out);
  folder.begin();
  const auto write = [&](const char* name, const std::string& text) {
    files::write_whole(folder.staging() / name, text);
  };
  write("cases.csv", cases_csv(programme));
  write("operators.csv", operators_csv(programme));
  write("learning.csv", learning_csv(programme));
  write("agreement.csv", agreement_csv(programme));
  write("columns.csv", columns_csv(programme));
  write("grade.html", programme_page(programme));
  write("grade.json", grade_json(programme));
  folder.commit({"cases.csv", "operators.csv", "learning.csv", "agreement.csv", "columns.csv",
                 "grade.html", "grade.json"},
                "grade.json");
}

}  // namespace rhumb::grade
