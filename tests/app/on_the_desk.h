#pragma once
#include <algorithm>
#include <catch2/catch.hpp>

#include "support/temp_folder.h"
#include "uroko/app/session.h"
#include "uroko/base/file.h"
#include "uroko/casebook/book.h"
#include "uroko/photo/photo.h"

namespace uroko::testing {

/// A small photo of a red patch, `width` px wide, as PNG; another `red` of the ground makes it another photo.
inline void write_patch(const std::filesystem::path& file, int width, double red = 210) {
  cv::Mat picture(600, 800, CV_8UC3, cv::Scalar(200, 205, red));
  picture(cv::Rect(300, 200, width, 160)).setTo(cv::Scalar(50, 40, 160));
  write_file_whole(file, photo::encode_png(picture));
}

/// Small photos of a red patch, one a day up to today, in a book of one fish and one wound.
struct OnTheDesk {
  TempFolder folder;
  std::filesystem::path koi = folder / "koi.uroko";
  app::Places places{folder / "settings.json", folder / "unfinished.json", {}};

  explicit OnTheDesk(int visits = 1) { make(koi, visits, "A"); }

  void make(const std::filesystem::path& at, int visits, const std::string& fish) const {
    auto book = casebook::Book::create(at);
    for (int i = 0; i < visits; ++i) {
      write_patch(folder / "a.png", 200 - 10 * i);
      casebook::NewPhotos photos;
      photos.files = {folder / "a.png"};
      photos.fish = fish, photos.wound = "left flank", photos.date = DateTime::from_day_number(DateTime::now().day_number() - visits + 1 + i);
      REQUIRE_FALSE(book.add_photos(photos).at(0).error);
    }
  }
};

/// A scale by two picks of a ruler and a loop round the patch: measured, not accepted.
inline void trace(app::Session& s) {
  REQUIRE(s.desk);
  s.choose_tool(app::ToolId::ruler);
  s.scale_form->first = "50";
  s.scale_form->picks = {{100, 500}, {500, 500}};
  s.give_scale();
  REQUIRE(s.settle());
  REQUIRE(s.desk->history.now().map);
  s.choose_tool(app::ToolId::loop);
  const std::vector<ImagePoint> loop = {{270, 170}, {400, 165}, {530, 170}, {535, 280}, {530, 390}, {400, 395}, {270, 390}, {265, 280}, {270, 170}};
  s.press({loop.front()});
  for (const auto& p : loop) s.drag({p});
  s.release({loop.back()});
  REQUIRE(s.settle());
  REQUIRE(s.desk->measurement);
}

/// The book opened and its photo traced, as `trace` does.
inline void open_and_trace(app::Session& s, const std::filesystem::path& book) {
  s.open_book(book);
  REQUIRE(s.settle());
  trace(s);
}

/// Whether a notice says so.
inline bool told(const app::Session& s, const std::string& part) {
  return std::any_of(s.notices.begin(), s.notices.end(), [&](const app::Notice& n) { return (n.text + " " + n.advice).find(part) != std::string::npos; });
}

/// The whole margin moved by a corner, so that there is something new to accept.
inline void move_margin(app::Session& s) {
  s.choose_tool(app::ToolId::points);
  const auto from = s.desk->history.now().outline().parts.at(0).outer.front();
  s.press({from});
  s.drag({{from.x - 12, from.y - 9}});
  s.release({{from.x - 12, from.y - 9}});
  REQUIRE(s.settle());
  REQUIRE(s.desk->unsaved());
}

/// Frames of the window until `is_so`.
inline bool frames_until(app::Session& s, const std::function<bool()>& is_so, double seconds = 20) {
  const auto end = std::chrono::steady_clock::now() + std::chrono::duration<double>(seconds);
  while (!is_so()) {
    if (std::chrono::steady_clock::now() > end) return false;
    s.turn();
    std::this_thread::yield();
  }
  return true;
}

}  // namespace uroko::testing
