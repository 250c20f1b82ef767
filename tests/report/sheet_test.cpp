#include "uroko/report/sheet.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <regex>

#include "report/example_sheet.h"
#include "report/raster.h"
#include "report/true_scale.h"
#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/base/text.h"

using namespace uroko;
using namespace uroko::report;
using namespace uroko::testing;

namespace {

std::string save(const TempFolder& folder, const std::string& name, const std::string& bytes) {
  const auto file = folder / name;
  std::ofstream(file, std::ios::binary) << bytes;
  return file.string();
}
std::string text_of(const std::string& pdf) { return run({"pdftotext", "-layout", pdf, "-"}).out; }
int pages_of(const std::string& pdf) {
  std::smatch found;
  const std::string info = run({"pdfinfo", pdf}).out;
  REQUIRE(std::regex_search(info, found, std::regex("Pages: +(\\d+)")));
  return std::stoi(found[1]);
}
bool holds(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("the sheet read back by other programs says what went in: two pages, fonts inside, every number") {
  TempFolder folder;
  const auto data = example_sheet();
  const auto pdf = save(folder, "sheet.pdf", recheck_sheet(data));
  const auto info = run({"pdfinfo", pdf}).out;
  CHECK(holds(info, "Recheck sheet, Momo, left flank"));
  CHECK(holds(info, "uroko 0.1.0"));
  CHECK(std::regex_search(info, std::regex("Page size: +595\\.27[0-9]* x 841\\.8")));  // ISO 216: 210 x 297 mm
  CHECK(pages_of(pdf) == 2);
  for (const auto& line : split(run({"pdffonts", pdf}).out, '\n'))
    if (holds(line, "Type") && !holds(line, "name ")) CHECK(std::regex_search(line, std::regex(" yes +yes +")));
  const auto text = text_of(pdf);
  for (const auto& v : data.visits) {
    const auto row = v.date.iso_date() + " exif";
    REQUIRE(holds(text, row));
    const auto at = text.find(row);
    CHECK(holds(text.substr(at, text.find('\n', at) - at),
                fixed_text(v.area_mm2->value, 0) + " (" + fixed_text(v.area_mm2->low95, 0) + "–" + fixed_text(v.area_mm2->high95, 0) + ")"));
  }
  for (const auto& f : data.files) CHECK(holds(text, f.sha256));
  for (const char* part :
       {"closing", "Kōhaku (紅白)", "2.35 kg, weighed 1 Apr 2026", "page 1 of 2", "page 2 of 2", "0.083 (0.071 to 0.095)",
        "23.5 mg ÷ 50 mg/mL = 0.47 mL", "organism X: agent 1 S, agent 2 R", "does not diagnose", "restart", "Wear gloves", "20 Apr 2026"})
    CHECK(holds(text, part));
}

TEST_CASE("the sheet is a tagged document: headings, lists, tables and figures with words, language, title and outline, as other programs read it") {
  TempFolder folder;
  const auto data = example_sheet();
  const auto pdf = save(folder, "sheet.pdf", recheck_sheet(data));
  const auto checked = run({"qpdf", "--check", pdf});
  INFO(checked.out << checked.err);
  CHECK(checked.exit_code == 0);
  const auto info = run({"pdfinfo", pdf}).out;
  CHECK(std::regex_search(info, std::regex("Tagged: +yes")));
  CHECK(std::regex_search(info, std::regex("Metadata Stream: +yes")));
  // XMP says what the information dictionary says.
  const auto meta = save(folder, "meta.xml", run({"pdfinfo", "-meta", pdf}).out);
  CHECK(run({"xmllint", "--nonet", "--xpath", "string(//*[local-name()='title']//*[local-name()='li'])", meta}).out == "Recheck sheet, Momo, left flank\n");
  const auto objects = run({"qpdf", "--json", "--json-key=qpdf", pdf}).out;
  for (const char* part : {"\"/Lang\": \"u:en\"", "\"/DisplayDocTitle\": true", "\"/Title\": \"u:Limits and cautions\"", "\"/Alt\": \"u:Photo of the wound on 1 Apr 2026, its traced margin",
                           "\"/Alt\": \"u:Outline of a koi seen from its left side, the wound marked at the flank", "\"/Alt\": \"u:Healing curve", "\"/Alt\": \"u:Margins of 8 visits"})
    CHECK(holds(objects, part));
  const std::string text = std::regex_replace(run({"pdfinfo", "-struct-text", pdf}).out, std::regex("\n *"), " ");
  for (const char* part : {"H1 (block) \"Momo\"", "H2 (block) \"closing\"", "P (block) \"weight 2.35 kg, weighed 1 Apr 2026\"", "H2 (block) \"Visits\" Table (block) TR TH \"date and its source\" TH \"area mm² (95 %)\"",
                           "TD \"441 (427–455)\"", "LBody (block) P (block) \"organism X: agent 1 S, agent 2 R\""}) {
    INFO(part);
    CHECK(holds(text, part));
  }
  // As many cells in every row as the table has columns.
  const auto count = [&](const std::string& tag, std::size_t from, std::size_t to) {
    int n = 0;
    for (auto at = text.find(tag, from); at < to; at = text.find(tag, at + 1)) ++n;
    return n;
  };
  const auto table = text.find("\"Visits\" Table"), next = text.find("P (block)", table);
  CHECK(count(" TR ", table, next) == 9);
  CHECK(count(" TH ", table, next) == 12);
  CHECK(count(" TD ", table, next) == 8 * 12);
}

TEST_CASE("margins and the check length come out of the printer's page at true size, A4 and letter") {
  TempFolder folder;
  auto data = example_sheet();
  for (auto paper : {Paper::a4, Paper::letter}) {
    data.paper = paper;
    const auto pages = sheet_pages(data);
    // Where the layout put the bar; what is measured is the raster.
    std::optional<Point> bar;
    int page = 0;
    for (std::size_t i = 0; i < pages.size(); ++i)
      for (const auto& item : pages[i].items)
        if (const auto* line = std::get_if<PolyLine>(&item);
            line && line->points.size() == 2 && std::abs(line->points[1].x - line->points[0].x - kCheckMm * kPointsPerMm) < 1e-6) {
          bar = line->points[0];
          page = static_cast<int>(i) + 1;
        }
    REQUIRE(bar);
    const auto pdf = save(folder, "s.pdf", recheck_sheet(data));
    const int dpi = 300;
    const auto raster = rasterised(pdf, page, dpi);
    const double px = dpi / 72.0, per_mm = dpi / 25.4;
    const int row = static_cast<int>(std::lround((bar->y - 2) * px));  // through the ticks, above the bar
    const auto near = [&](double x) { return stroke_centre_x(raster, row, static_cast<int>(x - 2 * per_mm), static_cast<int>(x + 2 * per_mm)); };
    const auto a = near(bar->x * px), b = near(bar->x * px + 50 * per_mm);
    REQUIRE(a);
    REQUIRE(b);
    CHECK((*b - *a) / per_mm == Approx(50).margin(0.1));

    // The newest margin is the one heavy ink line: its printed width against the outline's own width in mm.
    double low = 1e9, high = -1e9;
    for (const auto& p : data.margins.back().outline_mm.parts[0].outer) low = std::min(low, p.x), high = std::max(high, p.x);
    Point from{1e9, 1e9}, to{-1e9, -1e9};
    for (const auto& item : pages[static_cast<std::size_t>(page - 1)].items)
      if (const auto* line = std::get_if<PolyLine>(&item); line && line->closed && line->width == 1.6)
        for (const auto& p : line->points) from = {std::min(from.x, p.x), std::min(from.y, p.y)}, to = {std::max(to.x, p.x), std::max(to.y, p.y)};
    REQUIRE(to.x > from.x);
    int first = raster.cols, last = 0;
    for (int y = static_cast<int>(from.y * px); y < static_cast<int>(to.y * px); ++y)
      for (int x = static_cast<int>((from.x - 15) * px); x < static_cast<int>((to.x + 15) * px); ++x) {
        const auto c = raster.at<cv::Vec3b>(y, x);
        if (c[0] < 60 && c[1] < 60 && c[2] < 60) first = std::min(first, x), last = std::max(last, x);
      }
    const double stroke = 1.6 / kPointsPerMm;
    CHECK((last + 1 - first) / per_mm - stroke == Approx(high - low).margin(0.2));
  }
}

TEST_CASE("a long record flows over pages and loses nothing") {
  TempFolder folder;
  auto data = example_sheet();
  data.visits.clear();
  for (int i = 0; i < 200; ++i) {
    SheetVisit v;
    v.date = DateTime::from_day_number(20000 + i);
    v.date_from = "user";
    v.area_mm2 = symmetric_estimate(500 - i, 5);
    v.note = i == 150 ? std::string(3000, 'x') : "";
    data.visits.push_back(v);
    data.care.push_back({v.date, "cleaning", "note " + std::to_string(i)});
  }
  const auto pdf = save(folder, "long.pdf", recheck_sheet(data));
  const int pages = pages_of(pdf);
  CHECK(pages > 6);
  const auto text = text_of(pdf);
  for (const auto& v : data.visits) CHECK(holds(text, v.date.iso_date() + " user"));
  CHECK(holds(text, "page 1 of " + std::to_string(pages)));
  CHECK(holds(text, "page " + std::to_string(pages) + " of " + std::to_string(pages)));
  CHECK(holds(text, "note 199"));
  CHECK(std::count(text.begin(), text.end(), 'x') >= 3000);
  // Nothing is printed below the foot or beyond the edges.
  for (const auto& page : sheet_pages(data))
    for (const auto& item : page.items)
      if (const auto* label = std::get_if<Label>(&item)) {
        CHECK(label->at.y < page.height - 20);
        CHECK(label->at.x <= page.width - 30);
      }
}

TEST_CASE("names in any script print and read back") {
  TempFolder folder;
  SheetData data;
  data.made = *DateTime::parse("2026-04-01");
  data.fish = "紅白 Прекрасная Ωραία";
  data.wound = "żółw & <left>";
  data.owner_label = std::string("bad \xff byte, ") + "Ñandú 🐟";
  data.variety = "تانشو";  // written from right to left
  const auto text = text_of(save(folder, "n.pdf", recheck_sheet(data)));
  for (const char* part : {"紅白", "Прекрасная", "Ωραία", "żółw & <left>", "Ñandú"}) {
    INFO(part);
    CHECK(holds(text, part));
  }
  // Each letter of the word from right to left; their order is the reading program's affair.
  for (const char* letter : {"ت", "ا", "ن", "ش", "و"}) CHECK(holds(text, letter));
  // Names without end or without blanks stay inside the page.
  for (const std::string word : {"Pondfish", "Very long name of a koi "}) {
    SheetData longest = example_sheet();
    longest.fish.clear();
    for (int i = 0; i < 40; ++i) longest.fish += word;
    longest.wound = longest.owner_label = longest.fish;
    const auto pages = sheet_pages(longest);
    for (const auto& page : pages)
      for (const auto& item : page.items)
        if (const auto* label = std::get_if<Label>(&item); label && label->anchor == Anchor::left && label->turn_deg == 0)
          CHECK(label->at.x + text_width(label->text, label->size, label->bold) <= page.width - 30);
    for (const auto& page : pages)
      for (const auto& item : page.items)
        if (const auto* label = std::get_if<Label>(&item)) CHECK(label->at.y < page.height - 20);
    CHECK(holds(text_of(save(folder, "l.pdf", recheck_sheet(longest))), "…"));
  }
}

TEST_CASE("an empty record, one visit and a missing photo give a sheet that says so") {
  TempFolder folder;
  SheetData data;
  data.made = *DateTime::parse("2026-04-01");
  data.fish = "Momo";
  auto text = text_of(save(folder, "0.pdf", recheck_sheet(data)));
  CHECK(holds(text, "Nothing was measured yet"));
  CHECK(holds(text, "holds no visit"));
  CHECK(holds(text, "not weighed"));

  data = example_sheet();
  data.series.looks.resize(1);
  data.course->looks.resize(1);
  data.course->days.resize(1);
  data.course->segment.resize(1);
  data.course->degree_days.resize(1);
  data.course->baseline = 0;
  data.course->closure.reset();
  data.course->verdict = healing::Verdict::too_soon;
  data.visits.resize(1);
  data.margins.resize(1);
  data.first.reset();
  data.latest->bgr = cv::Mat();
  data.latest->trouble = "the photo's file is missing from the case book";
  text = text_of(save(folder, "1.pdf", recheck_sheet(data)));
  CHECK(holds(text, "too soon to tell"));
  CHECK(holds(text, "missing from the case book"));
}

TEST_CASE("the picture for a phone is one PNG or SVG with both photos and the verdict") {
  TempFolder folder;
  const auto data = example_sheet();
  for (auto theme : {Theme::light, Theme::dark}) {
    const auto scene = course_picture(data, theme);
    CHECK(scene.width == 540);
    CHECK(scene.height < 960);
    const auto svg = save(folder, "c.svg", paint(scene, ".svg"));
    CHECK(run({"xmllint", "--noout", "--nonet", "--huge", svg}).exit_code == 0);
    CHECK(run({"xmllint", "--huge", "--xpath", "count(//*[local-name()='image'])", svg}).out == "2\n");
    CHECK(run({"xmllint", "--huge", "--xpath", "count(//*[local-name()='text'][.='closing'])", svg}).out == "1\n");
    CHECK(photo::load(save(folder, "c.png", paint(scene, ".png"))).bgr.cols == 1080);
  }
  SheetData empty;
  empty.made = data.made;
  CHECK_NOTHROW(paint(course_picture(empty), ".png"));
}

TEST_CASE("a place on the drawn koi survives the way there and back, on both sides") {
  for (bool left : {true, false}) {
    KoiOutlineOptions options;
    options.looks_left = left;
    options.width = 333;
    const auto koi = koi_outline(options);
    for (const auto& site : body_sites()) {
      const Point p = koi.at_place(site.place);
      CHECK((p.x >= 0 && p.x <= koi.scene.width && p.y >= 0 && p.y <= koi.scene.height));
      const auto back = koi.place_of(p);
      CHECK(back.x == Approx(site.place.x));
      CHECK(back.y == Approx(site.place.y).margin(1e-9));
      CHECK(site_near(site.place) == site.name);
    }
    CHECK(koi.on_body(koi.at_place(*site_place("Left FLANK"))));
    CHECK_FALSE(koi.on_body({1, 1}));
    CHECK((koi.at_place({0, 0.5}).x < koi.at_place({1, 0.5}).x) == left);
  }
  CHECK_FALSE(site_place("somewhere"));
}
