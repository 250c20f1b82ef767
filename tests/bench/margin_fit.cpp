// Fits the nets that say where along a ray the margin lies, and writes them as src/margin/ray_models.cpp.
//   bench_margin_fit OUT.cpp [scenes a stratum, 8] [rounds, 10]
// Fitted on rendered koi (scenes 100 and up of each stratum; bench_margins shows 0 to 7), half of them recoloured to other skins and beds, and on the
// six leg ulcers of lutseg_examples (CC BY 4.0). No photo of fuseg_foot_ulcer is fitted on: its licence is non-commercial.
#include <Eigen/Dense>
#include <filesystem>
#include <fstream>
#include <iostream>

#include "bench/margin_koi.h"
#include "bench/open_set.h"
#include "margin/colour_model.h"
#include "margin/crop.h"
#include "margin/rays.h"
#include "uroko/photo/photo.h"

using namespace uroko;
using namespace uroko::eval;
using margin::RayModel;

namespace {

constexpr int kHidden = 14;
constexpr float kDecay = 3e-3f;
constexpr int kEvery = 4;  ///< of the rays, neighbours being much alike

struct Sample {
  Eigen::MatrixXf features;  ///< a column a state, ray after ray
  std::vector<float> target;
  std::vector<int> limit;
};

/// Skin and bed moved to other colours, the step between them kept soft: skin need not be a koi's, nor darker or paler than the bed.
Case recoloured(const Case& from, std::uint64_t seed) {
  Random random(seed);
  Case c = from;
  cv::Mat lab;
  cv::cvtColor(from.bgr, lab, cv::COLOR_BGR2Lab);
  lab.convertTo(lab, CV_32FC3);
  cv::Mat soft;
  from.truth.convertTo(soft, CV_32F, 1.0 / 255);
  cv::GaussianBlur(soft, soft, {}, random.uniform(0.6, 0.04 * from.radius + 0.7));
  const auto skin_mean = cv::mean(lab, ~from.truth), bed_mean = cv::mean(lab, from.truth);
  const double keep_skin = random.uniform(0.15, 1), keep_bed = random.uniform(0.5, 1);
  // Human skins run from pale to dark along a line of about constant hue (common practice); a few are anything.
  const double dark = random.uniform(), any = random.uniform() < 0.2;
  const double skin[3] = {any ? random.uniform(40, 230) : 215 - 140 * dark, 128 + (any ? random.normal(0, 12) : random.normal(12, 4)), 128 + (any ? random.normal(0, 14) : random.normal(18, 5))};
  const double bed[3] = {random.uniform(-25, 25), random.uniform(-8, 12), random.uniform(-8, 10)};
  const double gain = random.uniform(0.8, 1.1);
  for (int y = 0; y < lab.rows; ++y)
    for (int x = 0; x < lab.cols; ++x) {
      auto& p = lab.at<cv::Vec3f>(y, x);
      const double t = static_cast<double>(soft.at<float>(y, x));
      for (int k = 0; k < 3; ++k) {
        const double v = static_cast<double>(p[k]);
        const double as_skin = skin[k] + keep_skin * (v - skin_mean[k]), as_bed = bed_mean[k] + bed[k] + keep_bed * (v - bed_mean[k]);
        p[k] = static_cast<float>(std::clamp(t * as_bed + (1 - t) * as_skin, 0.0, 255.0) * (k == 0 ? gain : 1));
      }
    }
  lab.convertTo(lab, CV_8UC3);
  cv::cvtColor(lab, c.bgr, cv::COLOR_Lab2BGR);
  const double blur = random.uniform(0, 0.03 * from.radius);
  if (blur > 0.3) cv::GaussianBlur(c.bgr, c.bgr, {}, blur);
  cv::Mat noise(c.bgr.size(), CV_8UC3);
  cv::theRNG().state = seed;
  cv::randn(noise, 6, random.uniform(1, 4));
  c.bgr += noise;
  c.bgr -= cv::Scalar::all(6);
  return c;
}

/// The photo small enough that the wound's radius is at most `most` px: the net must know small wounds too.
Case reduced(const Case& from, double most) {
  if (from.radius <= most) return from;
  Case c;
  const double s = most / from.radius;
  cv::Mat bgr, mask;
  cv::resize(from.bgr, bgr, {}, s, s, cv::INTER_AREA);
  cv::resize(from.truth, mask, bgr.size(), 0, 0, cv::INTER_AREA);
  make_case(c, from.name, bgr, mask);
  return c;
}

cv::Mat below(const Case& c) {
  cv::Mat in, out;
  cv::distanceTransform(c.truth, in, cv::DIST_L2, 5);
  cv::distanceTransform(~c.truth, out, cv::DIST_L2, 5);
  return in - out;
}

ImageOutline loop_of(const Case& c, Random& random) {
  const double kind = random.uniform(), looseness = random.uniform(0.04, 0.52);
  if (kind < 0.14) return hull_loop(c, looseness);
  if (kind < 0.26) return ellipse_loop(c, 0.5 * looseness);
  if (kind < 0.40) {
    // From one point: a circle round it that may hold the wound.
    const double angle = random.uniform(0, 2 * CV_PI), off = random.uniform(0, 0.25) * c.radius;
    const ImagePoint p{c.point.x + off * std::cos(angle), c.point.y + off * std::sin(angle)};
    double furthest = 0;
    std::vector<cv::Point> places;
    cv::findNonZero(c.truth, places);
    for (const auto& q : places) furthest = std::max(furthest, std::hypot(q.x - p.x, q.y - p.y));
    Ring<ImagePoint> ring;
    const double r = furthest * random.uniform(1.03, 1.4);
    for (int i = 0; i < 48; ++i) ring.push_back({p.x + r * std::cos(2 * CV_PI * i / 48), p.y + r * std::sin(2 * CV_PI * i / 48)});
    const double w = c.bgr.cols - 0.5, h = c.bgr.rows - 0.5;
    auto loop = intersection(ImageOutline{{{ring, {}}}}, ImageOutline{{{{{-0.5, -0.5}, {w, -0.5}, {w, h}, {-0.5, h}}, {}}}});
    loop.parts.resize(1);
    return loop;
  }
  return rough_loop(c, looseness, random.bits());
}

struct View {
  margin::Crop crop;
  cv::Mat lab;
  explicit View(const cv::Mat& bgr, const ImageOutline& loop) : crop(margin::make_crop(bgr, margin::box_of(loop, 0.2), 256)) {
    cv::Mat smooth;
    cv::GaussianBlur(crop.bgr, smooth, {}, 0.6);
    lab = margin::lab_of(smooth);
  }
};

/// Where each fourth ray crosses the true margin: the outermost way in, or the one nearest to `near` states.
Sample sample_of(const margin::Rays& rays, const margin::Crop& crop, const cv::Mat& depth, double near, int offset) {
  Sample s;
  const auto all = margin::features_of(rays);
  std::vector<int> kept;
  for (int i = offset % kEvery; i < rays.n; i += kEvery) {
    double found = -1, last = 0;
    for (int k = 0; k < rays.limit[static_cast<std::size_t>(i)]; ++k) {
      const auto p = crop.in_photo(rays.at(i, k));
      const int x = std::clamp(static_cast<int>(std::lround(p.x)), 0, depth.cols - 1), y = std::clamp(static_cast<int>(std::lround(p.y)), 0, depth.rows - 1);
      const double d = static_cast<double>(depth.at<float>(y, x));
      if (k > 0 && last <= 0 && d > 0) {
        const double at = k - 1 + last / (last - d);
        if (found < 0 || (near >= 0 && std::abs(at - near) < std::abs(found - near))) found = at;
        if (near < 0) break;
      }
      last = d;
    }
    if (found < 0 || rays.on_frame[static_cast<std::size_t>(i)]) continue;
    kept.push_back(i);
    s.target.push_back(static_cast<float>(found));
    s.limit.push_back(rays.limit[static_cast<std::size_t>(i)]);
  }
  s.features.resize(all.rows(), static_cast<Eigen::Index>(kept.size()) * rays.m);
  for (std::size_t j = 0; j < kept.size(); ++j)
    s.features.middleCols(static_cast<Eigen::Index>(j) * rays.m, rays.m) = all.middleCols(static_cast<Eigen::Index>(kept[j]) * rays.m, rays.m);
  return s;
}

/// Adam (Kingma and Ba 2015) on the cross entropy of the margin's place along each ray, the target blurred by a state.
RayModel fitted(const std::vector<Sample>& samples, int states, int rounds, std::uint64_t seed) {
  Random random(seed);
  const int inputs = margin::feature_count();
  RayModel model{Eigen::MatrixXf(kHidden, inputs), Eigen::VectorXf::Zero(kHidden), Eigen::VectorXf(kHidden)};
  for (int h = 0; h < kHidden; ++h) {
    for (int i = 0; i < inputs; ++i) model.w(h, i) = static_cast<float>(random.normal(0, std::sqrt(2.0 / inputs)));
    model.v[h] = static_cast<float>(random.normal(0, 1 / std::sqrt(kHidden)));
  }
  Eigen::MatrixXf mw = Eigen::MatrixXf::Zero(kHidden, inputs), vw = mw;
  Eigen::VectorXf mb = Eigen::VectorXf::Zero(kHidden), vb = mb, mv = mb, vv = mb;
  std::vector<std::size_t> order;
  for (std::size_t k = 0; k < samples.size(); ++k)
    if (!samples[k].target.empty()) order.push_back(k);
  long step = 0;
  for (int round = 0; round < rounds; ++round) {
    for (std::size_t k = order.size() - 1; k > 0; --k) std::swap(order[k], order[static_cast<std::size_t>(random.index(static_cast<int>(k) + 1))]);
    double loss = 0, count = 0;
    for (const auto index : order) {
      const auto& s = samples[index];
      const Eigen::MatrixXf z = (model.w * s.features).colwise() + model.b, a = z.cwiseMax(0.f);
      const Eigen::VectorXf score = a.transpose() * model.v;
      Eigen::VectorXf delta = Eigen::VectorXf::Zero(score.size());
      const auto rays = static_cast<int>(s.target.size());
      for (int i = 0; i < rays; ++i) {
        const int limit = s.limit[static_cast<std::size_t>(i)];
        const float target = s.target[static_cast<std::size_t>(i)];
        const auto own = score.segment(static_cast<Eigen::Index>(i) * states, limit);
        const float high = own.maxCoeff();
        Eigen::VectorXf p = (own.array() - high).exp(), q(limit);
        const float sum = p.sum();
        p /= sum;
        for (int k = 0; k < limit; ++k) q[k] = std::exp(-0.5f * (static_cast<float>(k) - target) * (static_cast<float>(k) - target) / 0.8f);
        q /= std::max(q.sum(), 1e-9f);
        delta.segment(static_cast<Eigen::Index>(i) * states, limit) = (p - q) / static_cast<float>(rays);
        loss -= static_cast<double>((q.array() * (p.array() + 1e-9f).log()).sum()), count += 1;
      }
      Eigen::MatrixXf back = model.v * delta.transpose();
      back = (z.array() > 0).select(back, 0.f);
      const Eigen::MatrixXf gw = back * s.features.transpose() + kDecay * model.w;
      const Eigen::VectorXf gb = back.rowwise().sum(), gv = a * delta + kDecay * model.v;
      ++step;
      const float rate = static_cast<float>(4e-3 * (round < rounds / 2 ? 1 : round < 3 * rounds / 4 ? 0.3 : 0.1)), c1 = 1 - std::pow(0.9f, static_cast<float>(step)), c2 = 1 - std::pow(0.999f, static_cast<float>(step));
      const auto adam = [&](auto& value, auto& m, auto& v, const auto& g) {
        m = 0.9f * m + 0.1f * g;
        v = 0.999f * v + 0.001f * g.cwiseProduct(g);
        value.array() -= rate * (m.array() / c1) / ((v.array() / c2).sqrt() + 1e-7f);
      };
      adam(model.w, mw, vw, gw);
      adam(model.b, mb, vb, gb);
      adam(model.v, mv, vv, gv);
    }
    std::printf("round %d: cross entropy %.4f a ray (%.0f rays)\n", round + 1, loss / count, count);
    std::fflush(stdout);
  }
  return model;
}

void write(std::ostream& out, const std::string& name, const RayModel& model) {
  out << "const RayModel& " << name << "() {\n  static const RayModel model = read(k" << name << ", " << model.w.rows() << ");\n  return model;\n}\n\n";
}
void write_table(std::ostream& out, const std::string& name, const RayModel& model) {
  out << "/// A row a hidden unit: its weights, its bias, its weight in the score.\nconstexpr float k" << name << "[] = {\n";
  for (int h = 0; h < model.w.rows(); ++h) {
    out << "   ";
    const auto put = [&](float v) {
      char text[32];
      std::snprintf(text, sizeof text, " %.4gf,", static_cast<double>(v));
      std::string s = text;
      if (s.find_first_of(".e") == std::string::npos) s.insert(s.size() - 2, ".");
      out << s;
    };
    for (int i = 0; i < model.w.cols(); ++i) put(model.w(h, i));
    put(model.b[h]);
    put(model.v[h]);
    out << "\n";
  }
  out << "};\n\n";
}

void evaluate(const char* what, const std::vector<Case>& cases, const RayModel& wide, const RayModel* close) {
  for (const double looseness : {0.12, 0.25, 0.45}) {
    Scores first, second;
    for (const auto& c : cases) {
      const auto loop = rough_loop(c, looseness, 17 + std::hash<std::string>{}(c.name) % 997);
      const View view(c.bgr, loop);
      const auto rays = margin::rays_about(view.lab, view.crop.in_crop(loop).parts[0].outer, margin::kWideRays);
      const auto found = margin::follow(rays, margin::scores(wide, margin::features_of(rays)), margin::kWideStiffness, margin::kSharpness);
      const auto add = [&](Scores& scores, const Ring<ImagePoint>& ring) {
        auto o = view.crop.in_photo(ImageOutline{{{ring, {}}}});
        if (find_fault(o)) o = made_valid(o);
        scores.add(c, mask_of(o, c.bgr.size()), area(o));
      };
      add(first, found.ring);
      if (close) {
        const auto near = margin::rays_about(view.lab, found.ring, margin::kCloseRays);
        add(second, margin::follow(near, margin::scores(*close, margin::features_of(near)), margin::kCloseStiffness, margin::kSharpness).ring);
      }
    }
    std::printf("%s at %.0f %%: wide %.4f (p10 %.3f, bias %+.1f %%)", what, 100 * looseness, first.mean_dice(), Scores::quantile(first.dice, 0.1), 100 * first.bias());
    if (close) std::printf("; close %.4f (p10 %.3f, bias %+.1f %%, area %.1f %%)", second.mean_dice(), Scores::quantile(second.dice, 0.1), 100 * second.bias(), 100 * second.median_area());
    std::printf("\n");
    std::fflush(stdout);
  }
}

}  // namespace

int main(int argc, char** argv) {
  if (argc < 2) {
    std::printf("bench_margin_fit OUT.cpp [scenes a stratum] [rounds]\n");
    return 2;
  }
  const int scenes = argc > 2 ? std::atoi(argv[2]) : 8, rounds = argc > 3 ? std::atoi(argv[3]) : 10;
  Random random(20261125);
  std::vector<Case> cases;
  for (const auto& stratum : koi_strata())
    for (int n = 100; n < 100 + scenes; ++n) {
      auto c = koi_case(stratum, n);
      if (n % 3 == 0) c = reduced(c, random.uniform(20, 60));
      cases.push_back(c);
      cases.push_back(recoloured(reduced(c, random.uniform(25, 120)), random.bits()));
    }
  for (const auto& c : open_set("lutseg_examples"))
    for (const double most : {1000.0, 90.0, 60.0, 40.0, 28.0}) {
      cases.push_back(reduced(c, most));
      cases.push_back(recoloured(reduced(c, 1.3 * most), random.bits()));
    }
  std::printf("%zu cases\n", cases.size());
  std::vector<Sample> wide_samples, close_samples;
  struct Kept {
    std::size_t index;
    ImageOutline loop;
  };
  std::vector<Kept> kept;
  std::vector<cv::Mat> depths;
  for (std::size_t k = 0; k < cases.size(); ++k) {
    const auto& c = cases[k];
    depths.push_back(below(c));
    for (int l = 0; l < 3; ++l) {
      const auto loop = loop_of(c, random);
      if (find_fault(loop)) continue;
      kept.push_back({k, loop});
      const View view(c.bgr, loop);
      wide_samples.push_back(sample_of(margin::rays_about(view.lab, view.crop.in_crop(loop).parts[0].outer, margin::kWideRays), view.crop, depths[k], -1, l));
    }
  }
  const auto wide = fitted(wide_samples, margin::kWideRays.states, rounds, 1);
  wide_samples.clear();
  std::vector<Case> koi, foot;
  const auto feet = open_set("fuseg_foot_ulcer");
  for (std::size_t i = 0; i < feet.size(); i += 2) foot.push_back(feet[i]);
  for (const auto& stratum : koi_strata())
    for (int n = 50; n < 52; ++n) koi.push_back(koi_case(stratum, n));
  evaluate("koi", koi, wide, nullptr);
  evaluate("foot, even", foot, wide, nullptr);
  int count = 0;
  for (const auto& [k, loop] : kept) {
    const auto& c = cases[k];
    const View view(c.bgr, loop);
    const auto rays = margin::rays_about(view.lab, view.crop.in_crop(loop).parts[0].outer, margin::kWideRays);
    const auto ring = margin::follow(rays, margin::scores(wide, margin::features_of(rays)), margin::kWideStiffness, margin::kSharpness).ring;
    const auto near = margin::rays_about(view.lab, ring, margin::kCloseRays);
    close_samples.push_back(sample_of(near, view.crop, depths[k], (near.m - 1) / 2.0, count++));
  }
  const auto close = fitted(close_samples, margin::kCloseRays.states, rounds, 2);
  evaluate("koi", koi, wide, &close);
  evaluate("foot, even", foot, wide, &close);
  std::ofstream out(argv[1]);
  out << "// Written by bench_margin_fit: see there and assets/guide/margins.md for how the nets were fitted. Not to be edited.\n#include \"margin/rays.h\"\n\n#include <cmath>\n\nnamespace uroko::margin {\n\nnamespace {\n\n";
  write_table(out, "wide_model", wide);
  write_table(out, "close_model", close);
  out << "/// Hidden units that the fit let die hold subnormal numbers, which processors multiply a hundred times slower than 0.\n"
         "float alive(float weight) { return std::abs(weight) < 1e-20f ? 0 : weight; }\n\n"
         "RayModel read(const float* v, int hidden) {\n  const int inputs = feature_count();\n  RayModel model{Eigen::MatrixXf(hidden, inputs), Eigen::VectorXf(hidden), Eigen::VectorXf(hidden)};\n"
         "  for (int h = 0; h < hidden; ++h) {\n    for (int i = 0; i < inputs; ++i) model.w(h, i) = alive(*v++);\n    model.b[h] = alive(*v++);\n    model.v[h] = alive(*v++);\n  }\n  return model;\n}\n\n}  // namespace\n\n";
  write(out, "wide_model", wide);
  write(out, "close_model", close);
  out << "}  // namespace uroko::margin\n";
  return out ? 0 : 1;
}
