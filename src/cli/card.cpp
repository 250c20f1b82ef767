#include <cstdio>
#include <memory>
#include <nlohmann/json.hpp>

#include "cli/cli.h"
#include "uroko/base/error.h"
#include "uroko/base/file.h"
#include "uroko/base/text.h"
#include "uroko/photo/photo.h"
#include "uroko/report/card_print.h"

namespace uroko::cli {

namespace {

struct CardArguments {
  std::string out, paper = "a4";
  double px_per_mm = 20;
  bool lens_sheet = false, json = false;
};

void draw(const CardArguments& a) {
  if (a.out.empty() && !a.json)
    throw Error(Fault::usage, "no-output", "", "there is no file to write", "give a name that ends in .pdf, .svg or .png, or --json");
  const auto& card = a.lens_sheet ? scale::lens_sheet_layout() : scale::card_layout();
  if (!a.out.empty()) {
    const std::filesystem::path file(a.out);
    const std::string extension = lower_ascii(file.extension().string());
    if (extension != ".png" && extension != ".pdf" && extension != ".svg")
      throw Error(Fault::usage, "extension", file, "a card is drawn as .pdf, .svg or .png", "give a name that ends in one of them");
    const std::string bytes = extension == ".png"
                                  ? photo::encode_png(report::card_picture(card, a.px_per_mm), a.px_per_mm)
                                  : report::card_page(card, extension, a.paper == "letter" ? report::Paper::letter : report::Paper::a4);
    write_file_whole(file, bytes);
  }
  if (a.json) {
    const nlohmann::json out{{"width_mm", card.width_mm}, {"height_mm", card.height_mm}, {"px_per_mm", a.px_per_mm}};
    std::printf("%s\n", out.dump().c_str());
  } else {
    std::printf("%s: %g x %g mm; print at 100 %%, then measure its %g mm length\n", a.out.c_str(), card.width_mm, card.height_mm,
                card.check_x2 - card.check_x1);
  }
}

}  // namespace

void add_card(CLI::App& app) {
  auto* verb = app.add_subcommand("card", "Draw the printable reference card at true size");
  const auto a = std::make_shared<CardArguments>();
  verb->add_option("OUT", a->out, "file to write: .pdf or .svg (a page at true size) or .png (the card alone, edge to edge)");
  verb->add_option("--paper", a->paper, "paper of the page")->check(CLI::IsMember({"a4", "letter"}))->capture_default_str();
  verb->add_option("--px-per-mm", a->px_per_mm, "resolution of the .png")->check(CLI::Range(4.0, 60.0))->capture_default_str();
  verb->add_flag("--lens-sheet", a->lens_sheet, "the larger sheet for uroko lens instead");
  verb->add_flag("--json", a->json, "print the card's size in mm and the picture's px per mm");
  verb->callback([a] { draw(*a); });
}

}  // namespace uroko::cli
