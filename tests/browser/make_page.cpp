// Writes the invented outcome's folder, for the tests in a browser: make_page FOLDER [hostile].
#include <cstdio>
#include <exception>

#include "report/invented.h"
#include "report/report.h"

int main(int argc, char** argv) {
  using namespace rhumb;
  if (argc < 2) return 2;
  try {
    const std::filesystem::path folder = argv[1];
    std::filesystem::create_directories(folder);
    outcome::CaseOutcome outcome = report_test::invented_outcome();
    if (argc > 2) {  // hostile texts, and as much of everything as a long operation gives
      for (int i = 0; i < 12; ++i) {
        outcome.episodes[1].still.push_back(outcome.episodes[1].still[0]);
        outcome.limitations.push_back({4.0, 4.8, "an instrument covers the limbus, and blood"});
        outcome.evidence.push_back(outcome.evidence[0]);
        outcome.hand_readings.push_back(outcome.hand_readings[0]);
        outcome.run.warnings.push_back("an invented warning about nothing in particular");
      }
      outcome.stated.id = outcome.verdict = outcome.evidence[0].caption = report_test::hostile;
      outcome.hand_readings[0].reader = report_test::hostile;
      outcome.rows[110].why_not = outcome.limitations[0].reason = report_test::hostile;
    }
    outcome.stated.video.files = {folder / "recording.mp4"};
    report_test::write_invented_recording(outcome, outcome.stated.video.files[0]);
    report::write_outcome(outcome, folder / "out");
  } catch (const std::exception& error) {
    std::fprintf(stderr, "%s\n", error.what());
    return 1;
  }
  return 0;
}
