#include "cli/wrong_usage.h"

#include <algorithm>
#include <fmt/format.h>
#include <vector>

namespace uroko::cli {
namespace {

/// Letters to insert, delete, replace or swap with a neighbour (optimal string alignment distance).
int typing_distance(const std::string& a, const std::string& b) {
  std::vector<std::vector<int>> d(a.size() + 1, std::vector<int>(b.size() + 1));
  for (std::size_t i = 0; i <= a.size(); ++i)
    for (std::size_t j = 0; j <= b.size(); ++j) {
      if (i == 0 || j == 0) {
        d[i][j] = static_cast<int>(i + j);
        continue;
      }
      d[i][j] = std::min({d[i - 1][j] + 1, d[i][j - 1] + 1, d[i - 1][j - 1] + (a[i - 1] != b[j - 1])});
      if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
    }
  return d[a.size()][b.size()];
}

/// The nearest of `known` within a third of the word's letters (at least one), else empty.
std::string nearest(const std::string& word, const std::vector<std::string>& known) {
  std::string best;
  int least = std::max(1, static_cast<int>(word.size()) / 3) + 1;
  for (const auto& candidate : known) {
    const int distance = typing_distance(word, candidate);
    if (distance < least) {
      least = distance;
      best = candidate;
    }
  }
  return best;
}

std::vector<std::string> verbs_of(const CLI::App& app) {
  std::vector<std::string> names;
  for (const auto* verb : app.get_subcommands([](const CLI::App* v) { return !v->get_group().empty(); })) names.push_back(verb->get_name());
  return names;
}

std::vector<std::string> options_of(const CLI::App& app) {
  std::vector<std::string> names;
  for (const auto* option : app.get_options())
    for (const auto& name : option->get_lnames()) names.push_back("--" + name);
  return names;
}

}  // namespace

std::string explain_usage(const CLI::App& app, const CLI::ParseError& error) {
  const CLI::App* verb = &app;
  std::string called = "uroko";
  for (auto parsed = verb->get_subcommands(); !parsed.empty(); parsed = verb->get_subcommands()) {
    verb = parsed.front();
    called += " " + verb->get_name();
  }
  const auto help = "; see " + called + " --help";
  auto left = app.remaining(true);
  std::sort(left.begin(), left.end(), [](const std::string& a, const std::string& b) { return (a.substr(0, 1) == "-") < (b.substr(0, 1) == "-"); });
  const auto verbs = verbs_of(*verb);
  for (const auto& word : left) {
    const bool option = word.size() > 1 && word[0] == '-';
    if (!option && verbs.empty()) continue;
    const auto name = word.substr(0, word.find('='));
    const auto meant = nearest(name, option ? options_of(*verb) : verbs);
    if (!option && verb == &app && word.find_first_of("./") != std::string::npos)
      return fmt::format("no verb was given for {0}; to measure a photo: uroko measure {0}, to open a case book: uroko open {0}", word);
    return fmt::format("{} {}{}{}", option ? called + " has no option" : "there is no verb", name, meant.empty() ? "" : fmt::format(" (did you mean {}?)", meant), help);
  }
  if (!verbs.empty() && dynamic_cast<const CLI::RequiredError*>(&error)) {
    std::string all;
    for (const auto& name : verbs) all += (all.empty() ? "" : ", ") + name;
    return called + " needs a verb: " + all + help;
  }
  if (dynamic_cast<const CLI::ConversionError*>(&error)) {
    // CLI11: "Could not convert: --water = warm".
    const std::string said = error.what();
    const auto colon = said.find(": "), equals = said.find(" = ", colon);
    if (colon != std::string::npos && equals != std::string::npos)
      return said.substr(colon + 2, equals - colon - 2) + " cannot be \"" + said.substr(equals + 3) + "\"" + help;
  }
  return error.what() + help;
}

}  // namespace uroko::cli
