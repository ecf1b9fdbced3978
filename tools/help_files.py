"""Makes man pages and shell completions from the program's own help.

    help_files.py PROGRAM OUT_DIR

Writes OUT_DIR/man/*.1.gz and OUT_DIR/completions/{rhumb.bash,_rhumb,rhumb.fish}.
"""
import gzip
import pathlib
import re
import subprocess
import sys


def help_of(program, *command):
    return subprocess.run([program, *command, "--help"], check=True, capture_output=True, text=True).stdout


def commands_in(text):
    """(name, description) of each command in the program's help"""
    return re.findall(r"^  (?!rhumb )([a-z]+) +(\S.*)$", text, flags=re.M)


def parts_in(text):
    """names of a command's own commands in its help"""
    listed = re.search(r"^Subcommands:\n(.*?)(?:\n\n|\Z)", text, flags=re.M | re.S)
    return re.findall(r"^  ([a-z]+)\b", listed.group(1), flags=re.M) if listed else []


def options_in(text):
    """(flags, description) of each option in a command's help"""
    found = []
    for flags, description in re.findall(r"^  (-\S+)[^\n]*?(?:\s{2,}|\n\s{20,})([^\n]*)", text, flags=re.M):
        found.append((flags.split(","), description.strip()))
    return found


def roff(text):
    text = text.replace("\\", "\\e").replace("-", "\\-")
    return "\n".join("\\&" + line if line[:1] in (".", "'") else line for line in text.splitlines())


def man_page(name, summary, text, others):
    title = name.upper()
    see = ", ".join(f".BR {other} (1)" for other in others)
    see_lines = see.replace(", .BR", ",\n.BR").replace(" (1),", " (1),")
    return (f'.TH {title} 1 "" "rhumb" "User Commands"\n.SH NAME\n{roff(name)} \\- {roff(summary)}\n'
            f".SH DESCRIPTION\n.nf\n{roff(text.strip())}\n.fi\n"
            ".SH EXIT STATUS\n0 done; 1 the input was read but no axis could be measured; "
            "2 wrong use or unusable input; 130 interrupted.\n"
            f".SH SEE ALSO\n{see_lines}\n")


def write_man(folder, program, commands, overview):
    pages = {"rhumb": ("reads toric lens axes off recordings after surgery", overview)}
    for name, summary in commands:
        text = help_of(program, name)
        for part in parts_in(text):
            text += f"\nrhumb {name} {part}\n\n{help_of(program, name, part)}"
        pages["rhumb-" + name] = (summary[0].lower() + summary[1:], text)
    for page, (summary, text) in pages.items():
        others = [other for other in pages if other != page] if page == "rhumb" else ["rhumb"]
        data = man_page(page, summary, text, others).encode()
        with open(folder / f"{page}.1.gz", "wb") as file:
            with gzip.GzipFile("", "wb", 9, file, mtime=0) as packed:
                packed.write(data)


def long_flags(options):
    return [flag for flags, _ in options for flag in flags if flag.startswith("--")]


def bash_text(commands, options, parts):
    cases = "".join(f'    {name}) words="{" ".join(long_flags(options[name]))}" parts="{" ".join(parts[name])}" ;;\n'
                    for name, _ in commands)
    names = " ".join(name for name, _ in commands)
    return f'''# bash completion for rhumb; made from its help
_rhumb() {{
  local word=${{COMP_WORDS[COMP_CWORD]}} words= parts=
  COMPREPLY=()
  if [ "$COMP_CWORD" -eq 1 ]; then
    mapfile -t COMPREPLY < <(compgen -W "{names} --help --version" -- "$word")
    return
  fi
  case ${{COMP_WORDS[1]}} in
{cases}  esac
  if [ "${{word:0:1}}" = - ]; then
    mapfile -t COMPREPLY < <(compgen -W "$words" -- "$word")
  elif [ -n "$parts" ] && [ "$COMP_CWORD" -eq 2 ]; then
    mapfile -t COMPREPLY < <(compgen -W "$parts" -- "$word")
  else
    compopt -o filenames
    mapfile -t COMPREPLY < <(compgen -f -- "$word")
  fi
}}
complete -F _rhumb rhumb
'''


def quoted(text):
    return text.replace("'", "'\\''")


def zsh_text(commands, options, parts):
    listed = "".join(f"    '{name}:{quoted(summary)}'\n" for name, summary in commands)
    cases = ""
    for name, _ in commands:
        flags = "".join(f" \\\n        '{flag}[{quoted(what).replace('[', '(').replace(']', ')').replace(':', ',')}]'"
                        for group, what in options[name] for flag in group if flag.startswith("--"))
        first = f" \\\n        '1:question:({' '.join(parts[name])})'" if parts[name] else ""
        cases += f"      {name}) _arguments{flags}{first} '*:file:_files' ;;\n"
    return f'''#compdef rhumb
# zsh completion for rhumb; made from its help
_rhumb() {{
  local -a commands=(
{listed}  )
  if (( CURRENT == 2 )); then
    _describe command commands
  else
    local command=$words[2]
    shift words
    (( CURRENT-- ))
    case $command in
{cases}    esac
  fi
}}
_rhumb "$@"
'''


def fish_text(commands, options, parts):
    lines = ["# fish completion for rhumb; made from its help"]
    for name, summary in commands:
        lines.append(f"complete -c rhumb -n __fish_use_subcommand -f -a {name} -d '{quoted(summary)}'")
        for part in parts[name]:
            lines.append(f"complete -c rhumb -n '__fish_seen_subcommand_from {name}' -f -a {part}")
        for flags, what in options[name]:
            for flag in flags:
                if flag.startswith("--"):
                    lines.append(f"complete -c rhumb -n '__fish_seen_subcommand_from {name}' "
                                 f"-l {flag[2:]} -d '{quoted(what)}'")
    return "\n".join(lines) + "\n"


def main():
    program, out = sys.argv[1], pathlib.Path(sys.argv[2])
    overview = help_of(program)
    commands = commands_in(overview)
    options, parts = {}, {}
    for name, _ in commands:
        text = help_of(program, name)
        parts[name] = parts_in(text)
        options[name] = options_in(text)
        known = {flag for flags, _ in options[name] for flag in flags}
        for part in parts[name]:
            for flags, what in options_in(help_of(program, name, part)):
                if not known.intersection(flags):
                    options[name].append((flags, what))
                    known.update(flags)
    for folder in ("man", "completions"):
        (out / folder).mkdir(parents=True, exist_ok=True)
    write_man(out / "man", program, commands, overview)
    for name, text in (("rhumb.bash", bash_text), ("_rhumb", zsh_text), ("rhumb.fish", fish_text)):
        (out / "completions" / name).write_text(text(commands, options, parts), encoding="utf-8")


if __name__ == "__main__":
    main()
