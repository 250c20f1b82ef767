#include <cstdio>
#include <memory>

#include "cli/cli.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/shared.h"

namespace uroko::cli {

namespace {

void show(const std::string& wanted) {
  const auto pages = guide_pages();
  if (pages.empty()) throw Error(Fault::input, "guide", {}, "the guide was not installed with this program", "install the package again, or read assets/guide of the source");
  if (wanted.empty()) {
    for (const auto& page : pages) std::printf("%-14s %s\n", page.name.c_str(), page.title.c_str());
    std::printf("\nuroko guide PAGE prints one.\n");
    return;
  }
  for (const auto& page : pages)
    if (page.name == wanted) {
      std::fputs(read_file(page.file).c_str(), stdout);
      return;
    }
  throw Error(Fault::usage, "guide", {}, "the guide has no page \"" + wanted + "\"", "see uroko guide");
}

}  // namespace

void add_guide(CLI::App& app) {
  auto* verb = app.add_subcommand("guide", "The guide: photographing, references, tracing the margin, reading the curve, limits and cautions");
  auto page = std::make_shared<std::string>();
  verb->add_option("PAGE", *page, "The page to print; left out: what there is");
  verb->callback([page] { show(*page); });
}

}  // namespace uroko::cli
