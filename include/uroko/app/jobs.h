#pragma once
#include <condition_variable>
#include <cstdint>
#include <deque>
#include <functional>
#include <mutex>
#include <string>
#include <thread>
#include <vector>

#include "uroko/base/token.h"

namespace uroko::app {

/// Work away from the window. A job is a function of values and a token; it never sees a panel. It returns what is to happen on the
/// main thread, which runs it in `deliver`. An exception becomes a call of `on_trouble` there.
class Jobs {
 public:
  using Delivery = std::function<void()>;
  using Work = std::function<Delivery(const Token&)>;
  struct Running {
    std::uint64_t id;
    std::string label;
    Token token;
    bool quiet = false;  ///< too short to speak of
  };

  explicit Jobs(int workers = 2);
  ~Jobs();
  Jobs(const Jobs&) = delete;
  Jobs& operator=(const Jobs&) = delete;

  /// `label`: what the window says meanwhile ("Finding the margin"). `urgent` jobs go before the others.
  Token start(std::string label, Work work, bool urgent = false, bool quiet = false);
  /// Runs what has come back; true when there was something. Main thread only.
  bool deliver();
  bool idle() const;
  std::vector<Running> running() const;
  void cancel_all();
  /// For tests: delivers until nothing is left, including jobs started by deliveries. False after `seconds`.
  bool settle(double seconds = 60);

  /// Called from a worker when a delivery waits; after the return of this the one before is not called any more.
  void set_wake(std::function<void()> wake);
  std::function<void(const std::string& label, std::exception_ptr)> on_trouble;

 private:
  struct Item {
    Running about;
    Work work;
  };
  void run();

  mutable std::mutex mutex_;
  std::condition_variable changed_;
  std::deque<Item> waiting_;
  std::vector<Running> running_;
  std::deque<Delivery> finished_;
  std::function<void()> wake_;
  std::vector<std::thread> workers_;
  std::uint64_t next_ = 1;
  bool stopping_ = false;
};

}  // namespace uroko::app
