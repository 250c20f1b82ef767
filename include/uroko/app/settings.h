#pragma once
#include <filesystem>
#include <string>
#include <vector>

namespace uroko::app {

enum class Theme { light, dark };

/// What a person set once and for all windows. Kept as JSON in $XDG_CONFIG_HOME/uroko/settings.json (XDG Base Directory Specification 0.8).
struct Settings {
  int scale_percent = 0;  ///< 75..300; 0: as the display says
  Theme theme = Theme::light;
  double degree_day_base_c = 0;
  double print_scale = 1;  ///< what the printed card's 100 mm bar measures / 100
  std::filesystem::path last_book;
  std::vector<std::filesystem::path> recent_books;  ///< newest first, at most 8
  std::filesystem::path last_folder;
  std::filesystem::path watched_folder;  ///< empty: none
  bool tour_seen = false;

  void remember_book(const std::filesystem::path& book);
};

/// $XDG_CONFIG_HOME/uroko or ~/.config/uroko; likewise for state. A relative value is ignored, as the specification asks.
std::filesystem::path config_folder();
std::filesystem::path state_folder();
/// Where a first case book goes when nobody says otherwise: ~/Koi.uroko.
std::filesystem::path default_book();

/// Missing or damaged settings are the defaults; values out of range are brought back into it.
Settings load_settings(const std::filesystem::path& file = config_folder() / "settings.json");
std::string settings_json(const Settings& settings);
/// Throws Error(Fault::input) when it cannot be written.
void save_settings(const Settings& settings, const std::filesystem::path& file = config_folder() / "settings.json");

}  // namespace uroko::app
