// For ThreadSanitizer only, linked into every program of its build (tests/CMakeLists.txt): OpenCV's loops run in threads that it can
// see. Debian's OpenCV hands them to a TBB that was built without it, so that every parallel_for_ would look like a race; this takes that place
// (cv::parallel::ParallelForAPI, OpenCV 4.5.2) and leaves nothing to suppress.
#include <algorithm>
#include <atomic>
#include <memory>
#include <opencv2/core/parallel/parallel_backend.hpp>
#include <thread>
#include <vector>

namespace {

class SeenThreads final : public cv::parallel::ParallelForAPI {
 public:
  void parallel_for(int tasks, FN_parallel_for_body_cb_t body, void* data) override {
    std::atomic<int> next{0};
    const auto work = [&](int number) {
      own_number() = number;
      for (int task; (task = next++) < tasks;) body(task, task + 1, data);
      own_number() = 0;
    };
    std::vector<std::thread> others;
    for (int number = 1; number < std::min(threads_.load(), tasks); ++number) others.emplace_back(work, number);
    work(0);
    for (auto& other : others) other.join();
  }
  int getThreadNum() const override { return own_number(); }
  int getNumThreads() const override { return threads_; }
  int setNumThreads(int threads) override { return threads_.exchange(threads > 0 ? threads : 3); }
  const char* getName() const override { return "seen threads"; }

 private:
  static int& own_number() {
    static thread_local int number = 0;
    return number;
  }
  std::atomic<int> threads_{3};
};

/// Before main.
const bool g_done = [] {
  cv::parallel::setParallelForBackend(std::make_shared<SeenThreads>(), false);
  return true;
}();

}  // namespace
