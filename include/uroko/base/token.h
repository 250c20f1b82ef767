#pragma once
#include <atomic>
#include <memory>

namespace uroko {

/// Shared by a job and whoever waits for it: the waiter may cancel, the job tells how far it is (0..1).
class Token {
 public:
  Token() : state_(std::make_shared<State>()) {}
  void cancel() const { state_->cancelled = true; }
  bool cancelled() const { return state_->cancelled; }
  void progress(double done) const { state_->progress = done; }
  double progress() const { return state_->progress; }

 private:
  struct State {
    std::atomic<bool> cancelled{false};
    std::atomic<double> progress{0};
  };
  std::shared_ptr<State> state_;
};

}  // namespace uroko
