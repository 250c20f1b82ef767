#include "cli/measure_flags.h"

#include "cli/options.h"
#include "uroko/base/error.h"
#include "uroko/base/text.h"

namespace uroko::cli {

void misused(const std::string& happened, const std::string& advice) { throw Error(Fault::usage, "usage", {}, happened, advice); }

namespace {

measure::ScaleChoice scale_of(const MeasureFlags& f) {
  if (int(f.card) + int(!f.ruler.empty()) + int(!f.disc.empty()) + int(!f.rectangle.empty()) + int(!f.board.empty()) > 1)
    misused("more than one scale was given", "give one of --card, --ruler, --disc, --rect, --board");
  if (f.board.empty() != !f.square.has_value()) misused("one of --board and --square is missing", "give both, such as --board 9x6 --square 25");
  if (!f.board.empty()) {
    if (!(*f.square > 0)) misused("--square is not above 0", "give the side of a square in millimetres");
    const auto [columns, rows] = corners_of(f.board);
    return measure::ByBoard{columns, rows, *f.square};
  }
  if (!f.ruler.empty()) {
    const auto v = numbers("--ruler", f.ruler, 5);
    if (v[0] == v[2] && v[1] == v[3]) misused("--ruler: the two points are the same", "pick two different graduations");
    if (!(v[4] > 0)) misused("--ruler: the length is not above 0", "give the millimetres between the two points");
    return measure::ByRuler{{v[0], v[1]}, {v[2], v[3]}, v[4]};
  }
  if (!f.disc.empty()) {
    const auto v = numbers("--disc", f.disc, 3);
    if (!(v[2] > 0)) misused("--disc: the diameter is not above 0", "give the disc's diameter in millimetres");
    return measure::ByDisc{{v[0], v[1]}, v[2]};
  }
  if (!f.rectangle.empty()) {
    const auto v = numbers("--rect", f.rectangle, 10);
    if (!(v[8] > 0 && v[9] > 0)) misused("--rect: a side is not above 0", "give width and height in millimetres");
    return measure::ByRectangle{{{{v[0], v[1]}, {v[2], v[3]}, {v[4], v[5]}, {v[6], v[7]}}}, v[8], v[9]};
  }
  measure::ByCard card;
  if (f.print_length) {
    if (!(*f.print_length > 80 && *f.print_length < 120)) misused("--print-length is not near 100", "give what the card's 100 mm line measures, in millimetres");
    card.print_scale = *f.print_length / 100;
  }
  return card;
}

/// "card", or the words of --ruler, --disc, --rect after their name.
measure::ScaleChoice check_of(const std::string& text) {
  const auto comma = std::min(text.find(','), text.size());
  const std::string kind = lower_ascii(text.substr(0, comma)), rest = comma < text.size() ? text.substr(comma + 1) : "";
  MeasureFlags one;
  if (kind == "ruler") one.ruler = rest;
  if (kind == "disc") one.disc = rest;
  if (kind == "rect") one.rectangle = rest;
  if (kind == "card" ? !rest.empty() : rest.empty() || (one.ruler + one.disc + one.rectangle).empty())
    misused("--check \"" + text + "\" names no reference", "give card, or ruler, disc or rect with its numbers, such as disc,820,460,23.25");
  return scale_of(one);
}

measure::MarginChoice margin_of(const MeasureFlags& f) {
  const int given = int(!f.outlines.empty()) + int(!f.around.empty()) + int(!f.seed.empty()) + int(f.automatic);
  if (given > 1) misused("more than one margin was given", "give one of --outline, --around, --seed, --auto");
  if (!f.outlines.empty()) {
    if (!f.keep.empty() || !f.drop.empty()) misused("--keep and --drop go with a found margin", "use --around, --seed or --auto, or correct the outline");
    measure::Given given;
    for (std::size_t k = 0; k < f.outlines.size(); ++k) {
      auto outline = outline_option("--outline", f.outlines[k]);
      if (k == 0)
        given.outline = std::move(outline);
      else
        given.repeats.push_back(std::move(outline));
    }
    return given;
  }
  if (!f.around.empty()) return measure::Around{outline_option("--around", f.around)};
  if (!f.seed.empty()) {
    const auto v = numbers("--seed", f.seed, 2);
    return measure::FromPoint{{v[0], v[1]}};
  }
  return measure::NoHint{};
}

}  // namespace

std::pair<int, int> corners_of(const std::string& text) {
  const auto parts = split(lower_ascii(text), 'x');
  const auto whole = [&](std::size_t i) {
    const auto n = i < parts.size() ? parse_number(parts[i]) : std::nullopt;
    return n && *n == static_cast<int>(*n) && *n >= 3 && *n <= 40 ? static_cast<int>(*n) : 0;
  };
  if (parts.size() != 2 || !whole(0) || !whole(1)) misused("--board \"" + text + "\" is not like 9x6", "give the inner corners across x down");
  return {whole(0), whole(1)};
}

measure::PhotoRequest request_of(const MeasureFlags& f) {
  measure::PhotoRequest request;
  request.scale = scale_of(f);
  request.margin = margin_of(f);
  if (!f.check.empty()) request.check = check_of(f.check);
  if (!f.lens.empty()) request.lens_profile = f.lens;
  for (const auto& text : f.keep)
    for (auto& line : lines_option("--keep", text)) request.keep.push_back(std::move(line));
  for (const auto& text : f.drop)
    for (auto& line : lines_option("--drop", text)) request.drop.push_back(std::move(line));
  if (!(f.plane_offset >= 0)) misused("--plane-offset is below 0", "give millimetres, 0 or more");
  request.options.plane_offset_u_mm = f.plane_offset;
  request.options.site = f.site;
  if (f.body_depth.has_value() != f.body_width.has_value()) misused("one of --body-depth and --body-width is missing", "give both");
  if (f.body_depth) {
    if (!(*f.body_depth > 0 && *f.body_width > 0)) misused("--body-depth and --body-width must be above 0", "give millimetres");
    measure::Body body{*f.body_depth, *f.body_width, std::nullopt};
    if (!f.body_axis.empty()) {
      const auto v = numbers("--body-axis", f.body_axis, 4);
      if (v[0] == v[2] && v[1] == v[3]) misused("--body-axis: the two points are the same", "pick two points along the lateral midline");
      body.midline = {{{v[0], v[1]}, {v[2], v[3]}}};
    }
    request.options.body = body;
  } else if (!f.body_axis.empty()) {
    misused("--body-axis goes with --body-depth and --body-width", "give all three");
  }
  return request;
}

void add_measure_options(CLI::App& verb, MeasureFlags& flags) {
  const auto text = [&](const std::string& name, std::string& into, const char* value, const std::string& says, const char* group) {
    verb.add_option(name, into, says)->option_text(value)->group(group);
  };
  const char *scale = "Scale (one; without any the printed card is looked for)", *margin = "Margin (one)", *curve = "Curved flank";
  verb.add_flag("--card", flags.card, "The printed card, anywhere in the photo")->group(scale);
  text("--ruler", flags.ruler, "X1,Y1,X2,Y2,MM", "Two picks on a ruler and the millimetres between them", scale);
  text("--disc", flags.disc, "X,Y,DIAMETER_MM", "A coin or other disc near that pixel", scale);
  text("--rect", flags.rectangle, "X1,Y1,...,X4,Y4,WIDTH_MM,HEIGHT_MM", "Four corners in order, WIDTH between corners 1 and 2", scale);
  text("--board", flags.board, "9x6", "A plain checkerboard mat: its inner corners across x down", scale);
  verb.add_option("--square", flags.square, "The side of that mat's squares")->option_text("MM")->group(scale);
  text("--check", flags.check, "card|KIND,NUMBERS", "A second reference in the photo, to be compared: card, or ruler, disc or rect with its numbers as above", scale);
  text("--lens", flags.lens, "PROFILE.json", "Camera profile made by uroko lens", scale);
  verb.add_option("--print-length", flags.print_length, "What the card's printed 100 mm line really measures")->option_text("MM")->group(scale);
  verb.add_option("--plane-offset", flags.plane_offset, "How far the reference may lie above or below the wound (standard uncertainty)")->option_text("MM")->capture_default_str()->group(scale);
  // One value a time: what follows may be a photo.
  verb.add_option("--outline", flags.outlines, "The margin itself: POLYGON or MULTIPOLYGON in photo pixels, or @FILE; again for each repeat trace of the photo")
      ->option_text("WKT")
      ->allow_extra_args(false)
      ->group(margin);
  text("--around", flags.around, "WKT", "A rough loop; the margin is found inside it", margin);
  text("--seed", flags.seed, "X,Y", "A point in the wound", margin);
  verb.add_flag("--auto", flags.automatic, "No hint: a proposal, to be checked by eye")->group(margin);
  verb.add_option("--keep", flags.keep, "A stroke (LINESTRING) that must be inside a found margin")->option_text("WKT")->allow_extra_args(false)->group(margin);
  verb.add_option("--drop", flags.drop, "A stroke (LINESTRING) that must be outside")->option_text("WKT")->allow_extra_args(false)->group(margin);
  text("--site", flags.site, "WORDS", "The wound's body site, such as back or left flank: how strongly the skin may curve under a flat reading", curve);
  verb.add_option("--body-depth", flags.body_depth, "Body depth (back to belly) at the wound")->option_text("MM")->group(curve);
  verb.add_option("--body-width", flags.body_width, "Body width (side to side) at the wound")->option_text("MM")->group(curve);
  text("--body-axis", flags.body_axis, "X1,Y1,X2,Y2", "A line along the fish's lateral midline in the photo", curve);
}

}  // namespace uroko::cli
