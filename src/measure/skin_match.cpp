#include "uroko/measure/skin_match.h"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/features2d.hpp>
#include <set>

#include "uroko/base/random.h"
#include "uroko/base/text.h"
#include "uroko/geometry/polygon.h"

namespace uroko::measure {

namespace {

struct Pair {
  PlanePoint from, to;
  double turn;    ///< by the two points' own directions, rad
  double tolerance;  ///< mm: the skin is not a plane, so the far points fit less well
};

double between(double angle) { return std::remainder(angle, 2 * std::numbers::pi); }

// A body's curve and the height of the reference over the skin move points that lie far from the wound; near it they hardly do.
constexpr double kNearMm = 0.8, kPerMm = 0.025;
constexpr double kTurnGate = 0.45, kSizeGate = 1.35;  // by the points' own direction and size
constexpr double kRatio = 0.85;
constexpr int kLeastPoints = 120, kLeastInliers = 14, kLeastSectors = 3;

/// Points that look alike both ways and unlike any other.
std::vector<Pair> look_alikes(const SkinPattern& from, const SkinPattern& to) {
  // Descriptors are of unit length: one product gives all distances.
  const cv::Mat alike = from.descriptors * to.descriptors.t();
  std::vector<int> best_of_to(static_cast<std::size_t>(alike.cols), -1);
  std::vector<float> value_of_to(static_cast<std::size_t>(alike.cols), -2);
  for (int i = 0; i < alike.rows; ++i)
    for (int j = 0; j < alike.cols; ++j)
      if (const float v = alike.at<float>(i, j); v > value_of_to[static_cast<std::size_t>(j)]) value_of_to[static_cast<std::size_t>(j)] = v, best_of_to[static_cast<std::size_t>(j)] = i;
  std::vector<Pair> out;
  for (int i = 0; i < alike.rows; ++i) {
    const float* row = alike.ptr<float>(i);
    const int best = static_cast<int>(std::max_element(row, row + alike.cols) - row);
    if (best_of_to[static_cast<std::size_t>(best)] != i) continue;
    const auto& a = from.points[static_cast<std::size_t>(i)];
    const auto& b = to.points[static_cast<std::size_t>(best)];
    // The next best elsewhere: one place may be described twice, in two directions.
    float next = -1;
    for (int j = 0; j < alike.cols; ++j)
      if (row[j] > next && j != best && distance(to.points[static_cast<std::size_t>(j)].at, b.at) > 1) next = row[j];
    const double d = std::sqrt(std::max(0.f, 2 - 2 * row[best])), d_next = std::sqrt(std::max(0.f, 2 - 2 * next));
    if (d > kRatio * d_next) continue;
    const double size = b.size_mm / a.size_mm;
    if (size > kSizeGate || size < 1 / kSizeGate) continue;
    out.push_back({a.at, b.at, between(b.angle - a.angle), kNearMm + kPerMm * distance(a.at, from.middle)});
  }
  return out;
}

SkinMotion from_two(const Pair& a, const Pair& b) {
  const double turn = std::atan2(b.to.y - a.to.y, b.to.x - a.to.x) - std::atan2(b.from.y - a.from.y, b.from.x - a.from.x);
  const double c = std::cos(turn), s = std::sin(turn);
  const PlanePoint m{(a.from.x + b.from.x) / 2, (a.from.y + b.from.y) / 2}, t{(a.to.x + b.to.x) / 2, (a.to.y + b.to.y) / 2};
  return {between(turn), {t.x - (c * m.x - s * m.y), t.y - (s * m.x + c * m.y)}};
}

struct Fit {
  SkinMotion motion;
  double scale = 1;  ///< of the similarity by the same points
};

/// The skin is no plane, and the reference touches it elsewhere each time: what a turn and a shift leave is smooth. It is taken out as a surface of
/// second order about the wound's middle, of which the motion takes what moves the wound. The surface's other coefficients are held to what a
/// flank of 90 mm radius can do between two cameras 20 degrees apart (10 %, and 0.8 mm at 20 mm), so that few points cannot bend it at will.
class Smooth {
 public:
  static constexpr double kUnit = 20;  // mm
  static constexpr int kTerms = 6;
  using Row = Eigen::Matrix<double, 1, kTerms>;
  using Column = Eigen::Matrix<double, kTerms, 1>;
  using Square = Eigen::Matrix<double, kTerms, kTerms>;
  Smooth(const SkinMotion& motion, const PlanePoint& middle) : motion(motion), middle_(middle) {}

  PlanePoint operator()(const PlanePoint& from) const {
    const auto p = motion(from);
    const Row r = row(p);
    return {p.x + r * x_, p.y + r * y_};
  }
  /// One step: the surface by least squares, its turn and value at the middle given to the motion.
  void fit(const std::vector<Pair>& pairs, const std::vector<double>& weights, double sigma) {
    Square normal = Square::Zero();
    Column bx = Column::Zero(), by = bx;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      if (weights[i] <= 0) continue;
      const auto p = motion(pairs[i].from);
      const Row r = row(p);
      const double w = weights[i] / (sigma * sigma);
      normal += w * r.transpose() * r;
      bx += w * r.transpose() * (pairs[i].to.x - p.x);
      by += w * r.transpose() * (pairs[i].to.y - p.y);
    }
    const double held[] = {INFINITY, 0.1 * kUnit, 0.1 * kUnit, 0.8, 0.8, 0.8};
    for (int k = 0; k < kTerms; ++k) normal(k, k) += 1 / (held[k] * held[k]);
    const Eigen::LLT<Square> solver(normal);
    x_ = solver.solve(bx);
    y_ = solver.solve(by);
    covariance = solver.solve(Square::Identity());
    // (x, y) moves by (x_1 u + x_2 v, y_1 u + y_2 v): half of y_1 - x_2 is a turn.
    const double turn = (y_(1) - x_(2)) / 2 / kUnit;
    const auto at = motion(middle_);
    const PlanePoint moved{at.x + x_(0), at.y + y_(0)};
    motion.turn = between(motion.turn + turn);
    motion.shift_mm = {};
    const auto turned = motion(middle_);
    motion.shift_mm = {moved.x - turned.x, moved.y - turned.y};
    x_(0) = y_(0) = 0;
    x_(2) += turn * kUnit;
    y_(1) -= turn * kUnit;
  }

  SkinMotion motion;
  Square covariance = Square::Zero();

 private:
  Row row(const PlanePoint& p) const {
    const auto at = motion(middle_);
    const double u = (p.x - at.x) / kUnit, v = (p.y - at.y) / kUnit;
    return (Row() << 1, u, v, u * u, u * v, v * v).finished();
  }
  PlanePoint middle_;
  Column x_ = Column::Zero(), y_ = x_;
};

/// Weighted least squares (Procrustes in the plane: the turn is the argument of the sum of products).
Fit best_fit(const std::vector<Pair>& pairs, const std::vector<double>& weights) {
  double w = 0;
  PlanePoint f, t;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    w += weights[i];
    f.x += weights[i] * pairs[i].from.x, f.y += weights[i] * pairs[i].from.y;
    t.x += weights[i] * pairs[i].to.x, t.y += weights[i] * pairs[i].to.y;
  }
  f.x /= w, f.y /= w, t.x /= w, t.y /= w;
  double dot = 0, cross = 0, square = 0;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    const double ax = pairs[i].from.x - f.x, ay = pairs[i].from.y - f.y, bx = pairs[i].to.x - t.x, by = pairs[i].to.y - t.y;
    dot += weights[i] * (ax * bx + ay * by);
    cross += weights[i] * (ax * by - ay * bx);
    square += weights[i] * (ax * ax + ay * ay);
  }
  const double turn = std::atan2(cross, dot), c = std::cos(turn), s = std::sin(turn);
  return {{turn, {t.x - (c * f.x - s * f.y), t.y - (s * f.x + c * f.y)}}, square > 0 ? std::hypot(dot, cross) / square : 1};
}

/// Residuals as shares of the tolerance, Tukey's biweight of them: 0 beyond it.
std::vector<double> weights_of(const std::vector<Pair>& pairs, const SkinMotion& motion, double times = 1) {
  std::vector<double> out;
  for (const auto& p : pairs) {
    const double e = distance(motion(p.from), p.to) / (times * p.tolerance);
    const bool turned = std::abs(between(p.turn - motion.turn)) < kTurnGate;
    out.push_back(turned && e < 1 ? std::pow(1 - e * e, 2) / (p.tolerance * p.tolerance) : 0);
  }
  return out;
}

/// The reference itself, seen twice, would say that nothing has moved.
bool is_reference(const SkinMotion& m, const SkinPattern& from) {
  if (!from.bound_from || !from.bound_to || std::abs(between(m.turn)) > 0.03) return false;
  const auto a = m(*from.bound_from);
  const double l = std::max(1e-9, distance(*from.bound_from, *from.bound_to));
  const double across = ((from.bound_to->x - from.bound_from->x) * (a.y - from.bound_from->y) - (from.bound_to->y - from.bound_from->y) * (a.x - from.bound_from->x)) / l;
  return std::abs(across) < 1.5;
}

}  // namespace

PlanePoint SkinMotion::operator()(const PlanePoint& p) const {
  const double c = std::cos(turn), s = std::sin(turn);
  return {c * p.x - s * p.y + shift_mm.x, s * p.x + c * p.y + shift_mm.y};
}

PlaneOutline SkinMotion::operator()(const PlaneOutline& outline) const {
  return mapped<PlanePoint, PlanePoint>(outline, [this](const PlanePoint& p) { return (*this)(p); });
}

SkinMotion SkinMotion::after(const SkinMotion& first) const { return {between(turn + first.turn), (*this)(first.shift_mm)}; }

SkinMotion SkinMotion::inverse() const {
  const double c = std::cos(turn), s = std::sin(turn);
  return {-turn, {-(c * shift_mm.x + s * shift_mm.y), -(-s * shift_mm.x + c * shift_mm.y)}};
}

Result<SkinMatch> match_skin(const SkinPattern& from, const SkinPattern& to) {
  if (static_cast<int>(std::min(from.points.size(), to.points.size())) < kLeastPoints)
    return Refusal{"plain-skin", "the skin shows too little pattern (" + std::to_string(std::min(from.points.size(), to.points.size())) + " points) to tell how the fish lay",
                   "take more of the skin round the wound into the photo, sharp and without glare"};
  const auto pairs = look_alikes(from, to);
  const Refusal no{"no-match", "the skin round the wound does not look alike in both photos", "check that it is the same fish and the same wound"};
  if (static_cast<int>(pairs.size()) < kLeastInliers) return no;

  // Two pairs fix a motion; the one that most pairs agree with is kept (RANSAC: Fischler & Bolles 1981), seeded so that it is repeatable.
  Random random(20260301);
  SkinMotion best;
  double best_score = -1;
  const int n = static_cast<int>(pairs.size());
  for (int k = 0; k < 4000; ++k) {
    const auto& a = pairs[static_cast<std::size_t>(random.index(n))];
    const auto& b = pairs[static_cast<std::size_t>(random.index(n))];
    const double l = distance(a.from, b.from);
    if (l < 5 || std::abs(distance(a.to, b.to) - l) > a.tolerance + b.tolerance) continue;
    const auto motion = from_two(a, b);
    if (std::abs(between(a.turn - motion.turn)) > kTurnGate || std::abs(between(b.turn - motion.turn)) > kTurnGate || is_reference(motion, from)) continue;
    double score = 0;
    const double c = std::cos(motion.turn), s = std::sin(motion.turn);
    for (const auto& p : pairs) {
      const double dx = c * p.from.x - s * p.from.y + motion.shift_mm.x - p.to.x, dy = s * p.from.x + c * p.from.y + motion.shift_mm.y - p.to.y;
      if (const double e2 = (dx * dx + dy * dy) / (p.tolerance * p.tolerance); e2 < 1 && std::abs(between(p.turn - motion.turn)) < kTurnGate) score += 1 - e2;
    }
    if (score > best_score) best_score = score, best = motion;
  }
  if (best_score < 0) return no;
  Fit fit{best, 1};
  std::vector<double> weights;
  for (int pass = 0; pass < 12; ++pass) {
    weights = weights_of(pairs, fit.motion, pass < 4 ? 1.5 : 1);
    if (std::count_if(weights.begin(), weights.end(), [](double w) { return w > 0; }) < 3) return no;
    fit = best_fit(pairs, weights);
  }
  Smooth smooth(fit.motion, from.middle);
  double sigma = 0.4;
  for (int pass = 0; pass < 10; ++pass) {
    std::vector<double> off;
    for (std::size_t i = 0; i < pairs.size(); ++i) {
      const auto& p = pairs[i];
      const double e = distance(smooth(p.from), p.to), reach = std::max(4 * sigma, 0.5) + (pass == 0 ? p.tolerance : 0);
      const bool turned = std::abs(between(p.turn - smooth.motion.turn)) < kTurnGate;
      weights[i] = turned && e < reach ? std::pow(1 - e * e / (reach * reach), 2) : 0;
      if (weights[i] > 0) off.push_back(e);
    }
    if (static_cast<int>(off.size()) < kLeastInliers) return no;
    std::nth_element(off.begin(), off.begin() + static_cast<std::ptrdiff_t>(off.size() / 2), off.end());
    // The median of a Rayleigh-distributed distance is 1.177 sigma.
    sigma = std::clamp(off[off.size() / 2] / 1.177, 0.05, 0.6);
    smooth.fit(pairs, weights, sigma);
  }
  // Over the wound itself, which the surface bridges: the turn and shift nearest to it there, and what it bends beside.
  std::vector<Pair> rim;
  for (int k = 0; k < 24; ++k) {
    const double angle = 2 * std::numbers::pi * k / 24;
    const PlanePoint p{from.middle.x + from.radius_mm * std::cos(angle), from.middle.y + from.radius_mm * std::sin(angle)};
    rim.push_back({p, smooth(p), 0, 1});
  }
  SkinMatch out;
  out.to_from = best_fit(rim, std::vector<double>(rim.size(), 1)).motion;
  double bend = 0;
  for (const auto& p : rim) bend += std::pow(distance(out.to_from(p.from), p.to), 2) / static_cast<double>(rim.size());
  if (is_reference(out.to_from, from)) return no;
  out.scale_ratio = fit.scale;
  out.pairs = n;
  std::set<int> sectors;
  std::set<std::pair<int, int>> cells;
  double squares = 0, w = 0;
  for (std::size_t i = 0; i < pairs.size(); ++i) {
    if (weights[i] <= 0) continue;
    const auto& p = pairs[i];
    ++out.inliers;
    squares += weights[i] * std::pow(distance(smooth(p.from), p.to), 2);
    w += weights[i];
    sectors.insert(static_cast<int>(std::floor((std::atan2(p.from.y - from.middle.y, p.from.x - from.middle.x) / std::numbers::pi + 1) * 4)) % 8);
    cells.insert({static_cast<int>(std::floor(p.from.x / 8)), static_cast<int>(std::floor(p.from.y / 8))});
  }
  out.sectors = static_cast<int>(sectors.size());
  if (out.inliers < kLeastInliers || out.sectors < kLeastSectors || cells.size() < 6) return no;
  out.rms_mm = std::sqrt(squares / w);
  if (std::abs(out.scale_ratio - 1) > 0.10)
    return Refusal{"scale", "the skin says that the two photos' millimetres differ by " + fixed_text(100 * std::abs(out.scale_ratio - 1), 0) + " %", "check the scale of both photos"};
  // Neighbours share what moved them: each cell of 8 mm counts as one point.
  const double shared = std::max(1.0, out.inliers / static_cast<double>(cells.size()));
  out.bend_mm = std::sqrt(bend);
  out.u_shift_mm = std::sqrt(shared * smooth.covariance(0, 0) + bend / 4);
  out.u_turn = std::sqrt(shared * (smooth.covariance(1, 1) + smooth.covariance(2, 2)) / 4 / (Smooth::kUnit * Smooth::kUnit) + bend / 4 / (from.radius_mm * from.radius_mm));
  return out;
}

std::vector<AlignedVisit> align_visits(const std::vector<std::shared_ptr<const SkinPattern>>& visits, const Token& token) {
  std::vector<AlignedVisit> out(visits.size());
  std::size_t first = 0;
  while (first < visits.size() && !visits[first]) ++first;
  if (first == visits.size()) return out;
  out[first].to_first = SkinMotion{};
  out[first].by = first;
  for (std::size_t i = first + 1; i < visits.size() && !token.cancelled(); ++i) {
    token.progress(static_cast<double>(i) / static_cast<double>(visits.size()));
    if (!visits[i]) continue;
    // The first one adds no drift; the others stand in for it, the nearest first.
    std::vector<std::size_t> with{first};
    for (std::size_t k = i; k-- > first + 1 && with.size() < 4;)
      if (out[k].to_first) with.push_back(k);
    for (const auto k : with) {
      const auto match = match_skin(*visits[i], *visits[k]);
      if (!match) {
        out[i].refusal = match.refusal();
        continue;
      }
      out[i].to_first = out[k].to_first->after(match->to_from);
      out[i].by = k;
      out[i].match = *match;
      out[i].refusal.reset();
      break;
    }
  }
  return out;
}

}  // namespace uroko::measure
