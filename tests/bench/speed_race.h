// Two ways of one job timed in turn, the table of their ratios, and the machine they ran on.
#pragma once
#include <sched.h>
#include <unistd.h>

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdio>
#include <fstream>
#include <functional>
#include <limits>
#include <opencv2/core/version.hpp>
#include <string>
#include <thread>
#include <vector>

namespace uroko::bench {

using Work = std::function<void()>;

inline double seconds(const Work& work) {
  const auto start = std::chrono::steady_clock::now();
  work();
  return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
}

struct Raced {
  double ours = std::numeric_limits<double>::infinity(), peer = ours;  ///< s
};

/// Wall time, the least of each over rounds that take turns: what other programs on the machine add is never less than nothing. Rounds go on
/// until `budget_s` is spent, at least `least` of them after one that warms the caches.
inline Raced race(const Work& ours, const Work& peer, double budget_s, int least = 5) {
  Raced out;
  ours();
  peer();
  const auto start = std::chrono::steady_clock::now();
  for (int round = 0; round < least || (round < 200 && std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count() < budget_s); ++round) {
    // Whoever is second finds the caches as the first left them: they swap.
    if (round % 2) out.peer = std::min(out.peer, seconds(peer));
    out.ours = std::min(out.ours, seconds(ours));
    if (round % 2 == 0) out.peer = std::min(out.peer, seconds(peer));
  }
  return out;
}

/// Slope of ln time over ln size, least squares.
inline double growth(const std::vector<double>& size, const std::vector<double>& time) {
  double mx = 0, my = 0, xy = 0, xx = 0;
  const auto n = static_cast<double>(size.size());
  for (std::size_t i = 0; i < size.size(); ++i) mx += std::log(size[i]) / n, my += std::log(time[i]) / n;
  for (std::size_t i = 0; i < size.size(); ++i) {
    xy += (std::log(size[i]) - mx) * (std::log(time[i]) - my);
    xx += (std::log(size[i]) - mx) * (std::log(size[i]) - mx);
  }
  return xx > 0 ? xy / xx : std::numeric_limits<double>::quiet_NaN();
}

/// One kind of work at growing sizes against one peer.
struct Row {
  double size = 0;
  std::string size_text;
  Raced times;
  double wanted = 0;  ///< the ratio that is aimed at; 0: none
};

/// Prints as it goes, so that a long run can be watched; the last row of a block holds the growth of ours and of the peer.
class Block {
 public:
  Block(std::string what, std::string peer) : what_(std::move(what)), peer_(std::move(peer)) {}
  void add(const Row& row, bool last) {
    sizes_.push_back(row.size);
    ours_.push_back(row.times.ours);
    peers_.push_back(row.times.peer);
    const double ratio = row.times.ours / row.times.peer;
    std::printf("| %s | %s | %s | %s | %s | **%s** | %s | %s |\n", what_.c_str(), row.size_text.c_str(), ms(row.times.ours).c_str(), peer_.c_str(), ms(row.times.peer).c_str(),
                number(ratio).c_str(), row.wanted > 0 ? ("<= " + number(row.wanted) + (ratio <= row.wanted ? ", met" : ", missed")).c_str() : "",
                last && sizes_.size() > 1 ? (number(growth(sizes_, ours_)) + " / " + number(growth(sizes_, peers_))).c_str() : "");
    std::fflush(stdout);
  }
  static void head() {
    std::printf("| what | size | uroko ms | peer | peer ms | ratio | aim | growth, uroko / peer |\n| --- | --- | --- | --- | --- | --- | --- | --- |\n");
  }

 private:
  static std::string number(double value) {
    char text[32];
    std::snprintf(text, sizeof text, value < 0.0995 ? "%.3f" : "%.2f", value);
    return text;
  }
  static std::string ms(double s) {
    char text[32];
    std::snprintf(text, sizeof text, s < 0.01 ? "%.2f" : s < 0.1 ? "%.1f" : "%.0f", 1000 * s);
    return text;
  }
  std::string what_, peer_;
  std::vector<double> sizes_, ours_, peers_;
};

inline std::string line_of(const char* file, const std::string& key) {
  std::ifstream in(file);
  for (std::string line; std::getline(in, line);)
    if (line.rfind(key, 0) == 0) {
      const auto at = line.find_first_not_of(" \t", line.find(':') + 1);
      return at == std::string::npos ? "" : line.substr(at);
    }
  return "unknown";
}

inline std::string machine() {
  double load[3] = {0, 0, 0};
  if (::getloadavg(load, 3) < 1) load[0] = -1;
  char text[400];
  std::snprintf(text, sizeof text, "%s, %u cores, %.0f GB; %s %s; OpenCV %s; load %.1f at the start", line_of("/proc/cpuinfo", "model name").c_str(), std::thread::hardware_concurrency(),
                std::atof(line_of("/proc/meminfo", "MemTotal").c_str()) / 1048576,
#ifdef __clang__
                "clang",
#else
                "gcc",
#endif
                __VERSION__, CV_VERSION, load[0]);
  return text;
}

/// This process and what it starts run on `count` of the cores it may use, without the first `skipped`, until it goes out of scope.
class OnCores {
 public:
  explicit OnCores(int count, int skipped = 0) {
    ::sched_getaffinity(0, sizeof before_, &before_);
    cpu_set_t fewer;
    CPU_ZERO(&fewer);
    for (int core = 0; core < CPU_SETSIZE && CPU_COUNT(&fewer) < count; ++core)
      if (CPU_ISSET(core, &before_) && skipped-- <= 0) CPU_SET(core, &fewer);
    given_ = CPU_COUNT(&fewer);
    ::sched_setaffinity(0, sizeof fewer, &fewer);
  }
  OnCores(const OnCores&) = delete;
  OnCores& operator=(const OnCores&) = delete;
  ~OnCores() { ::sched_setaffinity(0, sizeof before_, &before_); }
  int given() const { return given_; }

 private:
  cpu_set_t before_{};
  int given_ = 0;
};

}  // namespace uroko::bench
