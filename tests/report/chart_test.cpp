#include "uroko/report/chart.h"

#include <catch2/catch.hpp>
#include <cmath>
#include <fstream>
#include <regex>

#include "report/example_course.h"
#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/base/error.h"
#include "uroko/report/words.h"

using namespace uroko;
using namespace uroko::report;
using namespace uroko::testing;

namespace {
std::string save(const TempFolder& folder, const std::string& name, const std::string& bytes) {
  const auto file = folder / name;
  std::ofstream(file, std::ios::binary) << bytes;
  return file.string();
}

// Painted letters: baselines and widths as boxes, turned labels left out.
struct Word {
  double x0, y0, x1, y1;
  std::string text;
};
std::vector<Word> words_of(const Scene& scene) {
  std::vector<Word> words;
  for (const auto& item : scene.items)
    if (const auto* label = std::get_if<Label>(&item); label && label->turn_deg == 0) {
      const double w = text_width(label->text, label->size, label->bold);
      const double left = label->anchor == Anchor::left ? label->at.x : label->anchor == Anchor::middle ? label->at.x - w / 2 : label->at.x - w;
      words.push_back({left, label->at.y - 0.7 * label->size, left + w, label->at.y + 0.1 * label->size, label->text});
    }
  return words;
}
}  // namespace

TEST_CASE("markers stand where their area and day say, on each axis") {
  const auto series = example_series();
  const auto course = example_course(series);
  for (auto axis : {TimeAxis::days, TimeAxis::dates, TimeAxis::degree_days}) {
    ChartOptions options;
    options.axis = axis;
    const auto chart = healing_chart(course, series, options);
    REQUIRE(chart.looks.size() == 8);
    for (std::size_t i = 0; i < 8; ++i) {
      CHECK(chart.looks[i].x == Approx(chart.x_of_day(course.days[i])));
      CHECK(chart.looks[i].y == Approx(chart.y0 + (chart.y1 - chart.y0) * course.looks[i].area_mm2 / chart.area_top_mm2));
      if (axis == TimeAxis::degree_days && i) {
        const double share = (*course.degree_days[i] - *course.degree_days[0]) / *course.degree_days[7];
        CHECK(chart.looks[i].x == Approx(chart.looks[0].x + share * (chart.looks[7].x - chart.looks[0].x)));
      }
    }
  }
}

TEST_CASE("no two labels of a chart touch, whatever the size and the number of events") {
  auto series = example_series();
  const auto course = example_course(series);
  for (int extra : {0, 30}) {
    for (int i = 0; i < extra; ++i)
      series.events.push_back(
          {DateTime::from_day_number(series.looks[0].date.day_number() + i), i % 3 ? "cleaning" : "a long name of a measure of our own", ""});
    for (double width : {320.0, 720.0, 1400.0}) {
      ChartOptions options;
      options.width = width;
      options.height = 300;
      const auto words = words_of(healing_chart(course, series, options).scene);
      for (std::size_t i = 0; i < words.size(); ++i)
        for (std::size_t k = 0; k < i; ++k) {
          const auto &a = words[i], &b = words[k];
          INFO(width << ": \"" << a.text << "\" on \"" << b.text << "\"");
          CHECK_FALSE((a.x0 < b.x1 && b.x0 < a.x1 && a.y0 < b.y1 && b.y0 < a.y1));
        }
      for (const auto& w : words) {
        INFO(w.text);
        CHECK(w.x0 >= 0);
        CHECK(w.x1 <= width);
      }
    }
  }
}

TEST_CASE("a chart is drawn of one look, of 200 looks, of a closed wound, and at any size") {
  auto series = example_series();
  series.looks.resize(1);
  series.water.clear();
  series.events.clear();
  auto course = example_course(example_series());
  const auto cut = [&](std::size_t n) {
    auto c = course;
    c.looks.resize(n), c.days.resize(n), c.segment.resize(n), c.degree_days.resize(n);
    c.closure.reset();
    return c;
  };
  auto one = cut(1);
  one.baseline = 0;
  CHECK_NOTHROW(healing_chart(one, series, {}));
  one.looks[0].area_mm2 = 0;
  CHECK(std::isfinite(healing_chart(one, series, {}).looks[0].y));
  healing::Course many;
  for (int i = 0; i < 200; ++i) {
    many.looks.push_back({DateTime::from_day_number(20000 + 2 * i), 400 * std::exp(-0.01 * i), 5, 70, {}});
    many.days.push_back(2 * i), many.segment.push_back(0), many.degree_days.push_back({});
  }
  many.baseline = 0;
  ChartOptions options;
  for (double h : {0.0, 90.0, 200.0, 800.0}) {
    options.height = h;
    options.axis = TimeAxis::degree_days;
    CHECK_NOTHROW(healing_chart(many, series, options));
  }
  CHECK_THROWS_AS(healing_chart({}, series, {}), std::invalid_argument);
}

TEST_CASE("a chart as SVG is well-formed for an independent reader and holds the printed numbers as text") {
  TempFolder folder;
  const auto series = example_series();
  const auto chart = healing_chart(example_course(series), series);
  const auto file = save(folder, "c.svg", paint(chart.scene, ".svg", {"Koi <1> & \"co\"", "", "", ""}));
  const auto checked = run({"xmllint", "--noout", "--nonet", file});
  INFO(checked.err);
  CHECK(checked.exit_code == 0);
  const auto title = run({"xmllint", "--xpath", "string(/*/*[local-name()='title'])", file});
  CHECK(title.out == "Koi <1> & \"co\"\n");
  const auto value = run({"xmllint", "--xpath", "count(//*[local-name()='text'][.='281 mm² (271–291)'])", file});
  CHECK(value.out == "1\n");  // 281 -+ 1.96 x 5
}

TEST_CASE("a chart as PDF embeds its fonts and carries its title, as PNG it has two pixels a point") {
  TempFolder folder;
  const auto series = example_series();
  const auto chart = healing_chart(example_course(series), series);
  const auto pdf = save(folder, "c.pdf", paint(chart.scene, ".pdf", {"The title", "", "A. Keeper", ""}));
  const auto info = run({"pdfinfo", pdf});
  CHECK(info.out.find("The title") != std::string::npos);
  CHECK(info.out.find("A. Keeper") != std::string::npos);
  CHECK(info.out.find("720 x 360 pts") != std::string::npos);
  const auto fonts = run({"pdffonts", pdf});
  CHECK(std::regex_search(fonts.out, std::regex("DejaVuSans +\\S.*yes yes")));
  CHECK_FALSE(std::regex_search(fonts.out, std::regex("\\bno +(yes|no) +(yes|no)\\b")));
  CHECK(run({"pdftotext", pdf, "-"}).out.find("281 mm² (271–291)") != std::string::npos);
  const auto png = save(folder, "c.png", paint(chart.scene, ".png"));
  const auto size = run({"file", png});
  CHECK(size.out.find("1440 x 720") != std::string::npos);
  CHECK_THROWS_AS(paint(chart.scene, ".gif"), Error);
}

TEST_CASE("text breaks at words, fits its width, and survives wrong bytes and other scripts") {
  const std::string text = "The area fell by more than the least change that can be told, and the margin moved inward.";
  const auto lines = wrapped(text, 9, 120);
  CHECK(lines.size() > 3);
  std::string again;
  for (const auto& line : lines) {
    CHECK(text_width(line, 9) <= 121);
    again += (again.empty() ? "" : " ") + line;
  }
  CHECK(again == text);
  CHECK(wrapped("a\nb", 9, 100).size() == 2);
  CHECK(text_width(fitted("紅白 Прекрасная рыба", 9, 50), 9) <= 50);
  CHECK(fitted("short", 9, 100) == "short");
  CHECK_NOTHROW(wrapped(std::string("bad \xff\xfe bytes \xe3\x81"), 9, 50));
  CHECK(text_width("0123456789", 9) == Approx(10 * text_width("0", 9)).epsilon(0.01));  // tabular digits
}

TEST_CASE("numbers print with a true minus sign and as many digits as they deserve") {
  CHECK(signed_text(-38.14, 1) == "−38.1");
  CHECK(signed_text(3.06, 1) == "+3.1");
  CHECK(signed_text(-0.01, 1) == "0.0");
  CHECK(mm2_text(456.51) == "457");
  CHECK(mm2_text(45.65) == "45.6");
  CHECK(mm2_text(4.567) == "4.57");
  CHECK(range_text({456.5, 4, 448.3, 464.7}) == "448–465");
  CHECK(short_date(*DateTime::parse("2026-03-02"), true) == "2 Mar 2026");
}
