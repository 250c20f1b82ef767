// The man page and the shell completion, written from the same description as --help.
#include <algorithm>
#include <cstdio>
#include <fmt/format.h>
#include <memory>

#include "cli/cli.h"

namespace uroko::cli {

namespace {

std::vector<const CLI::App*> verbs_of(const CLI::App& app) {
  auto verbs = app.get_subcommands([](const CLI::App* verb) { return !verb->get_group().empty(); });
  return {verbs.begin(), verbs.end()};
}

std::string roff(const std::string& text) {
  std::string out;
  bool start = true;
  for (char c : text) {
    if (start && (c == '.' || c == '\'')) out += "\\&";
    if (c == '\\')
      out += "\\e";
    else if (c == '-')
      out += "\\-";
    else if (c == '\n')
      out += "\n.br\n";
    else
      out += c;
    start = c == '\n';
  }
  return out;
}

void options_roff(const CLI::App& app, std::string& out) {
  for (const auto* option : app.get_options()) {
    // --help is every verb's and is told once, at the top.
    if (option->get_group().empty() || (app.get_parent() && option == app.get_help_ptr())) continue;
    std::string names = option->get_positional() ? option->get_name(true, false) : "";
    for (const auto& name : option->get_snames()) names += fmt::format("{}\\-{}", names.empty() ? "" : ", ", name);
    for (const auto& name : option->get_lnames()) names += fmt::format("{}\\-\\-{}", names.empty() ? "" : ", ", roff(name));
    const std::string value = option->get_items_expected_max() > 0 && !option->get_positional()
                                  ? " \\fI" + roff(option->get_option_text().empty() ? "VALUE" : option->get_option_text()) + "\\fR"
                                  : "";
    out += fmt::format(".TP\n\\fB{}\\fR{}\n{}\n", names, value, option->get_description().empty() ? "\\&" : roff(option->get_description()));
  }
}

void verb_roff(const CLI::App& verb, const std::string& name, const std::string& footer_above, std::string& out) {
  const auto below = verbs_of(verb);
  out += ".SS " + roff(name) + "\n" + roff(verb.get_description()) + "\n";
  options_roff(verb, out);
  // A verb without a footer of its own inherits the one above it, which is told there.
  if (!verb.get_footer().empty() && verb.get_footer() != footer_above) out += ".PP\n" + roff(verb.get_footer()) + "\n";
  for (const auto* child : below) verb_roff(*child, name + " " + child->get_name(), verb.get_footer(), out);
}

std::string man_page(const CLI::App& app) {
  std::string out = ".TH UROKO 1 \"\" \"uroko " + std::string(UROKO_VERSION) +
                    "\" \"User Commands\"\n.SH NAME\nuroko \\- measure ulcers of koi on dated photos\n.SH SYNOPSIS\n.B uroko\n[\\fIVERB\\fR] "
                    "[\\fIOPTIONS\\fR]\n.SH DESCRIPTION\n";
  out += roff(app.get_description()) + "\n.PP\n" + roff(app.get_footer()) + "\n.SH OPTIONS\n";
  options_roff(app, out);
  out += ".SH VERBS\n";
  for (const auto* verb : verbs_of(app)) verb_roff(*verb, verb->get_name(), app.get_footer(), out);
  out +=
      ".SH EXIT STATUS\n.TP\n0\nDone.\n.TP\n1\nIt could not be measured: no scale reference or margin was found, or a fit was "
      "refused.\n.TP\n2\nWrong usage.\n.TP\n3\nAn input file is missing, damaged or not accepted.\n.TP\n4\nThe case book refused: damaged, newer, "
      "locked, or the disk is full.\n.SH FILES\n.TP\n.I NAME.uroko\nA case book: a folder with one SQLite file and the original photos.\n"
      ".TP\n.I $XDG_CONFIG_HOME/uroko\nSettings, and lens profiles in\n.IR lenses .\n.TP\n.I /usr/share/uroko\nThe guide, the sample case and the schema of the JSON "
      "record.\n.SH EXAMPLES\n.nf\nuroko card card.pdf\nuroko measure photo.jpg \\-\\-card \\-\\-seed 1620,1210\nuroko book new pond.uroko\n"
      "uroko book add pond.uroko *.jpg \\-\\-fish \"Tank 4, no. 12\" \\-\\-wound \"left flank\" \\-\\-water 18\n"
      "uroko book curve pond.uroko \\-\\-fish \"Tank 4, no. 12\"\n"
      "uroko book report pond.uroko \\-\\-fish \"Tank 4, no. 12\" \\-\\-pdf sheet.pdf\n.fi\n.SH CAUTIONS\nMedicines, doses and intervals are the prescribing vet's, under "
      "local law. Sedation, debridement and injection are for trained hands and under local rules. Wear gloves: some fish bacteria infect people.\n";
  return out;
}

void cases(const CLI::App& app, const std::string& path, std::string& out) {
  std::string words;
  for (const auto* verb : verbs_of(app)) words += verb->get_name() + " ";
  for (const auto* option : app.get_options())
    if (!option->get_group().empty())
      for (const auto& name : option->get_lnames()) words += "--" + name + " ";
  if (!words.empty()) words.pop_back();
  out += "    \"" + path + "\") words=\"" + words + "\" ;;\n";
  for (const auto* verb : verbs_of(app)) cases(*verb, path.empty() ? verb->get_name() : path + " " + verb->get_name(), out);
}

// The verb so far chooses the words; file names are completed for everything else.
std::string bash_completion(const CLI::App& app) {
  std::string paths, table;
  cases(app, "", table);
  return "# bash completion for uroko, written from its --help\n_uroko() {\n  local current=\"${COMP_WORDS[COMP_CWORD]}\" path=\"\" words=\"\" i\n"
         "  for ((i = 1; i < COMP_CWORD && i <= 2; i++)); do\n    [[ ${COMP_WORDS[i]} == [a-z]* ]] || break\n"
         "    [[ $i -eq 2 && $path != book ]] && break\n    path=\"${path:+$path }${COMP_WORDS[i]}\"\n  done\n  case \"$path\" in\n" +
         table +
         "  esac\n  COMPREPLY=($(compgen -W \"$words\" -- \"$current\"))\n  if [[ $current != -* ]]; then\n    local file\n    while IFS= read -r "
         "file; do COMPREPLY+=(\"$file\"); done < <(compgen -f -- \"$current\")\n"
         "    compopt -o filenames 2>/dev/null\n  fi\n}\ncomplete -F _uroko uroko\n";
}

}  // namespace

void add_manual(CLI::App& app) {
  auto* verb = app.add_subcommand("manual", "Print the man page or the bash completion (for packaging)");
  verb->group("");  // not listed
  auto what = std::make_shared<std::string>();
  verb->add_option("WHAT", *what, "man or bash")->required()->check(CLI::IsMember({"man", "bash"}));
  verb->callback([what, &app] { std::fputs((*what == "man" ? man_page(app) : bash_completion(app)).c_str(), stdout); });
}

}  // namespace uroko::cli
