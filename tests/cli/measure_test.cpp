// The command line from outside: exit codes, one clear line, one JSON value, no partial output.
#include <catch2/catch.hpp>
#include <nlohmann/json.hpp>
#include <opencv2/imgproc.hpp>

#include "support/command.h"
#include "support/temp_folder.h"
#include "uroko/base/file.h"
#include "uroko/geometry/polygon.h"
#include "uroko/photo/photo.h"
#include "uroko/report/card_print.h"

using namespace uroko;
using nlohmann::json;
using testing::TempFolder;

namespace {

/// A renderer that shares nothing with src/scenes: the card's own PNG and a dark ellipse on a plane, seen by a pinhole camera with OpenCV's warp.
struct Foreign {
  cv::Mat photo;
  ImageOutline outline;
  double area_mm2;
};
Foreign foreign_photo(double tilt_deg, double turn_deg) {
  constexpr double kPxPerMm = 16, kFocal = 2200, kDistance = 330;
  constexpr int kWide = 2000, kHigh = 1500;
  const cv::Mat card = report::card_picture(kPxPerMm);
  const double card_w = card.cols / kPxPerMm, card_h = card.rows / kPxPerMm;
  // The plane's picture: grey ground, the card, and an ellipse 12 mm below the card's lower edge.
  const double ground_w = card_w + 60, ground_h = card_h + 80, a = 11, b = 8;
  cv::Mat ground(cv::Size(int(ground_w * kPxPerMm), int(ground_h * kPxPerMm)), CV_8UC3, cv::Scalar(150, 160, 170));
  card.copyTo(ground(cv::Rect(int(30 * kPxPerMm), int(20 * kPxPerMm), card.cols, card.rows)));
  const cv::Point2d wound(ground_w / 2, 20 + card_h + 12 + b);
  std::vector<cv::Point> ring;
  Ring<PlanePoint> ring_mm;
  for (int i = 0; i < 720; ++i) {
    const double t = 2 * CV_PI * i / 720;
    ring_mm.push_back({wound.x + a * std::cos(t), wound.y + b * std::sin(t)});
    ring.emplace_back(cvRound((ring_mm.back().x * kPxPerMm - 0.5) * 16), cvRound((ring_mm.back().y * kPxPerMm - 0.5) * 16));
  }
  cv::fillPoly(ground, std::vector<std::vector<cv::Point>>{ring}, cv::Scalar(60, 40, 150), cv::LINE_8, 4);
  // Photo from plane: X_c = R (X - middle) + (0, 0, D).
  const double t = tilt_deg * CV_PI / 180, z = turn_deg * CV_PI / 180;
  const cv::Matx33d tilt(1, 0, 0, 0, std::cos(t), -std::sin(t), 0, std::sin(t), std::cos(t)), turn(std::cos(z), -std::sin(z), 0, std::sin(z), std::cos(z), 0, 0, 0, 1);
  const cv::Matx33d r = tilt * turn, k(kFocal, 0, (kWide - 1) / 2.0, 0, kFocal, (kHigh - 1) / 2.0, 0, 0, 1);
  const cv::Matx33d pose(r(0, 0), r(0, 1), 0, r(1, 0), r(1, 1), 0, r(2, 0), r(2, 1), kDistance), centre(1, 0, -ground_w / 2, 0, 1, -ground_h / 2, 0, 0, 1);
  const cv::Matx33d photo_from_mm = k * pose * centre;
  const cv::Matx33d mm_from_px(1 / kPxPerMm, 0, 0.5 / kPxPerMm, 0, 1 / kPxPerMm, 0.5 / kPxPerMm, 0, 0, 1);
  // Warped at three times the size and averaged: no aliasing, exact to a small part of a pixel.
  const cv::Matx33d triple(3, 0, 1, 0, 3, 1, 0, 0, 1);
  cv::Mat big, blurred;
  cv::warpPerspective(ground, big, triple * photo_from_mm * mm_from_px, cv::Size(3 * kWide, 3 * kHigh), cv::INTER_AREA, cv::BORDER_CONSTANT, cv::Scalar(90, 110, 100));
  cv::resize(big, blurred, cv::Size(kWide, kHigh), 0, 0, cv::INTER_AREA);
  cv::GaussianBlur(blurred, blurred, {}, 0.8);
  cv::Mat noise(blurred.size(), CV_16SC3), noisy;
  cv::RNG rng(20260302);
  rng.fill(noise, cv::RNG::NORMAL, 0, 3);
  cv::add(blurred, noise, noisy, cv::noArray(), CV_8UC3);
  Foreign out{noisy, {}, area(PlaneOutline{{{ring_mm, {}}}})};
  Ring<ImagePoint> seen;
  for (const auto& p : ring_mm) {
    const cv::Vec3d q = photo_from_mm * cv::Vec3d(p.x, p.y, 1);
    seen.push_back({q[0] / q[2], q[1] / q[2]});
  }
  out.outline = {{{seen, {}}}};
  return out;
}

/// One line on stderr that begins with the program's name.
void check_one_line(const std::string& err) {
  INFO(err);
  CHECK(err.rfind("uroko: ", 0) == 0);
  CHECK(std::count(err.begin(), err.end(), '\n') == 1);
}

}  // namespace

TEST_CASE("the card's millimetres give the true area on photos from a foreign renderer up to 30 degrees of tilt") {
  const TempFolder folder;
  for (const auto& [tilt, turn] : std::vector<std::pair<double, double>>{{0, 0}, {15, 30}, {30, -100}, {30, 180}}) {
    const auto scene = foreign_photo(tilt, turn);
    write_file_whole(folder / "photo.jpg", photo::encode_jpeg(scene.photo, 92));
    write_file_whole(folder / "outline.wkt", to_wkt(scene.outline, 4));
    const auto ran = testing::uroko({"measure", folder / "photo.jpg", "--card", "--outline", "@" + (folder / "outline.wkt").string(), "--json"});
    INFO("tilt " << tilt << ", turn " << turn << "\n" << ran.err);
    REQUIRE(ran.exit_code == 0);
    const auto found = json::parse(ran.out);
    CHECK(found["area_mm2"]["value"].get<double>() == Approx(scene.area_mm2).epsilon(0.004));
    CHECK(found["scale"]["kind"] == "card");
    CHECK(found["scale"]["tilt_deg"].get<double>() == Approx(tilt).margin(4));
    CHECK(found["area_mm2"]["low95"].get<double>() <= scene.area_mm2);
    CHECK(found["area_mm2"]["high95"].get<double>() >= scene.area_mm2);
    double shares = 0, squares = 0;
    for (const auto& [name, share] : found["bed"].items()) shares += share["share"].get<double>();
    CHECK(shares == Approx(1).margin(1e-6));
    for (const auto& line : found["budget"]) squares += std::pow(line["u_mm2"].get<double>(), 2);
    CHECK(std::sqrt(squares) == Approx(found["area_mm2"]["u"].get<double>()).epsilon(1e-6));
  }
}

TEST_CASE("bad input is answered with its exit code and one clear line, and leaves no output file") {
  const TempFolder folder;
  const std::string good = "POLYGON((10 10,60 10,60 60,10 60,10 10))";
  write_file_whole(folder / "empty.jpg", "");
  write_file_whole(folder / "text.jpg", "this is not a photo\n");
  cv::Mat plain(400, 600, CV_8UC3, cv::Scalar(120, 130, 140));
  const auto jpeg = photo::encode_jpeg(plain, 90);
  write_file_whole(folder / "plain.jpg", jpeg);
  write_file_whole(folder / "half.jpg", std::string_view(jpeg).substr(0, jpeg.size() / 2));
  std::string png = photo::encode_png(plain);
  // IHDR's width and height: 60000 x 60000; its CRC no longer fits, which is a fault as well.
  for (const int at : {16, 20}) png.replace(at, 4, std::string("\0\0\xEA\x60", 4));
  write_file_whole(folder / "bomb.png", png);

  struct Case {
    std::vector<std::string> arguments;
    int exit_code;
    std::string says;
  };
  const auto photo = [&](const char* name) { return (folder / name).string(); };
  const std::vector<Case> cases = {
      {{photo("none.jpg"), "--outline", good}, 3, "none.jpg"},
      {{photo("empty.jpg"), "--outline", good}, 3, "empty"},
      {{photo("text.jpg"), "--outline", good}, 3, "text.jpg"},
      {{photo("half.jpg"), "--outline", good}, 3, "half.jpg"},
      {{photo("bomb.png"), "--outline", good}, 3, "bomb.png"},
      {{photo("plain.jpg"), "--outline", good}, 1, "card"},
      {{photo("plain.jpg"), "--outline", "POLYGON((10 10,60 60,60 10,10 60,10 10))", "--rect", "0,0,100,0,100,100,0,100,50,50"}, 2, "crosses itself"},
      {{photo("plain.jpg"), "--outline", good, "--ruler", "5,5,5,5,10"}, 2, "same"},
      {{photo("plain.jpg"), "--outline", good, "--ruler", "5,5,50,5,0"}, 2, "length"},
      {{photo("plain.jpg"), "--outline", "POLYGON((10 10,60"}, 2, "well-known text"},
      {{photo("plain.jpg"), "--outline", good, "--disc", "5,5"}, 2, "3 numbers"},
      {{photo("plain.jpg"), "--outline", good, "--card", "--disc", "5,5,20"}, 2, "one of"},
      {{photo("plain.jpg"), "--outline", good, "--seed", "3,3"}, 2, "one of"},
      {{photo("plain.jpg")}, 2, "margin"},
      {{photo("plain.jpg"), "--outline", "@" + photo("none.wkt")}, 3, "none.wkt"},
      {{photo("plain.jpg"), "--frobnicate"}, 2, "--frobnicate"},
      {{}, 2, "PHOTO"},
  };
  for (const auto& c : cases) {
    auto arguments = c.arguments;
    arguments.insert(arguments.begin(), "measure");
    arguments.insert(arguments.end(), {"--annotated", photo("out.png")});
    const auto ran = testing::uroko(arguments);
    std::string line;
    for (const auto& word : arguments) line += word + " ";
    INFO(line);
    CHECK(ran.exit_code == c.exit_code);
    check_one_line(ran.err);
    CHECK_THAT(ran.err, Catch::Contains(c.says));
    CHECK(ran.out.empty());
    CHECK_FALSE(std::filesystem::exists(folder / "out.png"));
  }
}

TEST_CASE("a batch tells every photo in its own line, in the order given, and goes on after a failed one") {
  const TempFolder folder;
  const auto scene = foreign_photo(10, 5);
  write_file_whole(folder / "b.jpg", photo::encode_jpeg(scene.photo, 90));
  write_file_whole(folder / "a.jpg", "no photo");
  write_file_whole(folder / "list.txt", "b.jpg\na.jpg\n\nmissing.jpg\n");
  const auto ran = testing::uroko({"measure", "--batch", folder / "list.txt", "--card", "--outline", to_wkt(scene.outline), "--json"});
  CHECK(ran.exit_code == 0);
  std::vector<json> lines;
  std::istringstream in(ran.out);
  for (std::string line; std::getline(in, line);) lines.push_back(json::parse(line));
  REQUIRE(lines.size() == 3);
  CHECK(lines[0]["area_mm2"]["value"].get<double>() == Approx(scene.area_mm2).epsilon(0.004));
  CHECK(lines[1]["error"]["code"] == "unknown-format");
  CHECK(lines[2]["error"]["code"] == "missing");
  CHECK_THAT(lines[2]["photo"]["file"].get<std::string>(), Catch::Contains("missing.jpg"));
}

TEST_CASE("a failed measure with --json still prints one JSON value") {
  const auto ran = testing::uroko({"measure", "/nonexistent/photo.jpg", "--outline", "POLYGON((0 0,9 0,9 9,0 0))", "--json"});
  CHECK(ran.exit_code == 3);
  CHECK(json::parse(ran.out)["error"]["code"] == "missing");
  check_one_line(ran.err);
}

namespace {

/// The outline grown by a share of its size about its middle.
ImageOutline grown(const ImageOutline& outline, double share) {
  const auto middle = centroid(outline);
  return mapped<ImagePoint, ImagePoint>(outline, [&](const ImagePoint& p) { return ImagePoint{middle.x + (1 + share) * (p.x - middle.x), middle.y + (1 + share) * (p.y - middle.y)}; });
}

bool warned(const json& found, const std::string& code) {
  return std::any_of(found["warnings"].begin(), found["warnings"].end(), [&](const json& w) { return w["code"] == code; });
}

double line_of(const json& found, const std::string& source) {
  for (const auto& line : found["budget"])
    if (line["source"] == source) return line["u_mm2"].get<double>();
  return 0;
}

}  // namespace

TEST_CASE("outlines given again are repeat traces of the photo: their mean, their own spread, and Student's t for few of them") {
  const TempFolder folder;
  const auto scene = foreign_photo(10, 20);
  const auto photo = (folder / "photo.jpg").string();
  write_file_whole(photo, photo::encode_jpeg(scene.photo, 92));
  std::vector<std::string> arguments{"measure"};
  for (const double share : {-0.01, 0.0, 0.015}) arguments.insert(arguments.end(), {"--outline", to_wkt(grown(scene.outline, share), 3)});
  arguments.insert(arguments.end(), {photo, "--json"});
  const auto ran = testing::uroko(arguments);
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const auto found = json::parse(ran.out);
  const auto traces = found["margin"]["traces_mm2"].get<std::vector<double>>();
  REQUIRE(traces.size() == 3);
  const double mean = (traces[0] + traces[1] + traces[2]) / 3;
  double squares = 0;
  for (const double a : traces) squares += std::pow(a - mean, 2);
  CHECK(found["area_mm2"]["value"].get<double>() == Approx(mean));
  CHECK(traces[0] == Approx(scene.area_mm2 * 0.99 * 0.99).epsilon(0.004));
  CHECK(line_of(found, "repeat traces") == Approx(std::sqrt(squares / 6)));
  CHECK(line_of(found, "margin noise") == 0);
  // The trace that stands for the others is the one nearest their mean.
  CHECK(area(outline_from_wkt<ImagePoint>(found["margin"]["wkt"].get<std::string>())) == Approx(area(scene.outline)).epsilon(1e-3));
  arguments.pop_back();
  CHECK_THAT(testing::uroko(arguments).out, Catch::Contains("traces "));
}

TEST_CASE("several photos of a visit give one area by what they do not share, and say when they disagree") {
  const TempFolder folder;
  std::vector<std::string> arguments{"measure"};
  double truth = 0;
  for (int k = 0; k < 3; ++k) {
    const auto scene = foreign_photo(8.0 * k, 40.0 * k);
    truth = scene.area_mm2;
    const auto photo = (folder / ("photo" + std::to_string(k) + ".jpg")).string();
    write_file_whole(photo, photo::encode_jpeg(scene.photo, 92));
    arguments.insert(arguments.end(), {photo, "--outline", to_wkt(scene.outline, 3)});
  }
  arguments.push_back("--json");
  const auto ran = testing::uroko(arguments);
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const auto together = json::parse(ran.out);
  CHECK(together["visit"]["photos"] == 3);
  REQUIRE(together["photos"].size() == 3);
  CHECK(together["area_mm2"]["value"].get<double>() == Approx(truth).epsilon(0.004));
  CHECK_FALSE(warned(together, "disagreement"));
  double lowest = 1e9, offset = 0;
  for (const auto& one : together["photos"]) {
    lowest = std::min(lowest, one["area_mm2"]["u"].get<double>());
    offset = std::max(offset, line_of(one, "plane offset"));
  }
  CHECK(together["area_mm2"]["u"].get<double>() < lowest);
  // Three photos' own plane offsets average; the print is one and the same.
  CHECK(line_of(together, "plane offset") == Approx(offset / std::sqrt(3)).epsilon(0.1));
  CHECK(line_of(together, "print") == Approx(line_of(together["photos"][0], "print")).epsilon(0.02));

  // A margin a tenth too large all round is told.
  arguments[6] = to_wkt(grown(foreign_photo(8, 40).outline, 0.1), 3);
  const auto odd = testing::uroko(arguments);
  REQUIRE(odd.exit_code == 0);
  CHECK(warned(json::parse(odd.out), "disagreement"));
  CHECK(line_of(json::parse(odd.out), "disagreement") > 0);
  arguments.pop_back();
  const auto people = testing::uroko(arguments);
  CHECK_THAT(people.out, Catch::Contains("together, 3 photos") && Catch::Contains("disagreement: "));

  arguments.erase(arguments.begin() + 8, arguments.end());
  const auto short_of = testing::uroko(arguments);
  CHECK(short_of.exit_code == 2);
  CHECK_THAT(short_of.err, Catch::Contains("3 photos but 2 outlines"));
  check_one_line(short_of.err);
}

TEST_CASE("a checkerboard mat gives the scale from the command line, and the site says how far the skin may curve") {
  const std::filesystem::path board = "/usr/share/doc/opencv-doc/examples/data/left01.jpg";
  if (!std::filesystem::exists(board)) {
    WARN("skipped: Debian's opencv-doc is not installed");
    return;
  }
  // Somewhere on the mat.
  const std::vector<std::string> arguments = {"measure", board.string(), "--board", "9x6", "--square", "25", "--outline", "POLYGON((300 150,380 150,380 220,300 220,300 150))", "--json"};
  const auto with = [&](std::vector<std::string> more) {
    more.insert(more.begin(), arguments.begin(), arguments.end());
    return testing::uroko(more);
  };
  const auto ran = with({});
  INFO(ran.err);
  REQUIRE(ran.exit_code == 0);
  const auto found = json::parse(ran.out);
  CHECK(found["scale"]["kind"] == "board");
  const auto back = json::parse(with({"--site", "back"}).out);
  CHECK(line_of(back, "curvature") > 10 * line_of(found, "curvature"));
  CHECK(warned(back, "curvature"));
  CHECK(with({"--card"}).exit_code == 2);
  CHECK(testing::uroko({"measure", board.string(), "--board", "9x6", "--outline", arguments[7]}).exit_code == 2);
  CHECK(testing::uroko({"measure", board.string(), "--board", "7x7", "--square", "25", "--outline", arguments[7]}).exit_code == 1);
}

TEST_CASE("a second reference is compared and never measures, and every line of the budget says what would lessen it") {
  const TempFolder folder;
  const auto scene = foreign_photo(10, 0);
  write_file_whole(folder / "photo.jpg", photo::encode_jpeg(scene.photo, 92));
  write_file_whole(folder / "outline.wkt", to_wkt(scene.outline, 4));
  const auto with = [&](const std::string& check) {
    return testing::uroko({"measure", (folder / "photo.jpg").string(), "--card", "--check", check, "--outline", "@" + (folder / "outline.wkt").string(), "--json"});
  };
  const auto same = with("card");
  REQUIRE(same.exit_code == 0);
  const auto agreed = json::parse(same.out);
  CHECK(agreed["scale"]["check"]["agrees"] == true);
  CHECK(agreed["scale"]["check"]["area_mm2"].get<double>() == Approx(agreed["area_mm2"]["value"].get<double>()).epsilon(1e-9));
  CHECK_FALSE(warned(agreed, "references-disagree"));
  double shares = 0;
  for (const auto& line : agreed["budget"]) {
    shares += line["share"].get<double>();
    CHECK_FALSE(line["means"].get<std::string>().empty());
    CHECK_FALSE(line["reduce"].get<std::string>().empty());
  }
  CHECK(shares == Approx(1));
  // A rectangle that is none of that size.
  const auto other = with("rect,300,300,600,300,600,500,300,500,12,8");
  REQUIRE(other.exit_code == 0);
  const auto told = json::parse(other.out);
  CHECK(told["scale"]["kind"] == "card");
  CHECK(told["area_mm2"]["value"] == agreed["area_mm2"]["value"]);
  CHECK(told["scale"]["check"]["agrees"] == false);
  CHECK(warned(told, "references-disagree"));
  for (const std::string wrong : {"coin", "rect", "card,3", "disc,1,2", "ruler,1,1,1,1,5"}) CHECK(with(wrong).exit_code == 2);
}
