// A proposal without any hint: how often it is the wound. Rendered koi with the card beside the wound, painted flat pictures, the sample case,
// the koi of the margin benchmark (no card), the open foot ulcers, and koi without any wound, where it should say that there is none.
// --fit-colour and --fit print the weights of margin/wound_colour.cpp and margin/proposal.cpp, fitted to other draws of the rendered and painted
// pictures; the foot photos (CC BY-NC, not for training what ships) are only tried. A number: how many photos of each kind (120). --only WORD: the kinds whose
// name holds the word.

// ctest: --short
#include <fmt/format.h>

#include <Eigen/Dense>
#include <cstdlib>
#include <cstring>

#include "bench/margin_koi.h"
#include "bench/open_set.h"
#include "margin/colour_model.h"
#include "margin/crop.h"
#include "margin/proposal.h"
#include "margin/wound_colour.h"
#include "support/temp_folder.h"
#include "uroko/photo/photo.h"
#include "uroko/scenes/sample_case.h"

using namespace uroko;
using namespace uroko::eval;

namespace {

struct Picture {
  Case c;
  ImageOutline ignore;
  double mm_per_px = 0;
  bool wound = true;
};

/// A koi with a card beside its ulcer, seen from where a person stands; every eighth is painted flat. `round`: which draw, so that fitted and tried
/// ones differ.
Picture with_card(int n, int round, bool wound = true) {
  Random random(52711 + 977 * static_cast<std::uint64_t>(n) + 1000003 * static_cast<std::uint64_t>(round) + (wound ? 0 : 5000000));
  scenes::Scene scene;
  scenes::Noise noise;
  auto ulcer = scenes::irregular_ulcer({random.uniform(-5, 30), random.uniform(-20, 20)}, std::exp(random.uniform(std::log(3.5), std::log(16))),
                                       random.uniform(0.06, 0.16), random.bits());
  ulcer.elongation = random.uniform(1, 1.9);
  ulcer.turn_deg = random.uniform(0, 180);
  ulcer.slough = random.uniform(0, 0.5);
  ulcer.necrotic = random.uniform(0, 0.15);
  ulcer.pale = random.uniform(0, 0.4);
  ulcer.rim_strength = random.uniform(0, 1);
  ulcer.rim_mm = random.uniform(2, 8);
  ulcer.seed = random.bits();
  scene.coat.seed = random.bits();
  scene.coat.red = random.uniform(0, 0.6);
  scene.coat.black = random.uniform(0, 0.3);
  scene.light.uneven = random.uniform(0, 0.4);
  scene.light.glare = random.uniform(0, 2.5);
  scene.light.cast_rgb = {random.uniform(.9, 1.1), 1, random.uniform(.85, 1.1)};
  scene.card->centre = {ulcer.centre.x - ulcer.radius_mm * 1.5 - random.uniform(64, 75), random.uniform(-10, 20)};
  scene.card->turn_deg = random.uniform(-15, 15);
  scene.view.width_px = 1200;
  scene.view.height_px = 900;
  scene.view.camera = scenes::pinhole(1200, 900, 1300);
  scene.view.aim = {(ulcer.centre.x + scene.card->centre.x) / 2 + random.uniform(-8, 14), random.uniform(-15, 20)};
  scene.view.distance_mm = random.uniform(200, 330);
  scene.view.tilt_deg = random.uniform(0, 25);
  scene.view.azimuth_deg = random.uniform(0, 360);
  scene.view.roll_deg = random.uniform(-12, 12);
  noise.seed = random.bits();
  noise.blur_px = random.uniform(.5, 1.5);
  if (wound)
    scene.ulcer = ulcer;
  else
    scene.ulcer.reset();
  if (n % 8 == 7) scene.detail = scenes::Detail::plain;
  Picture p;
  p.wound = wound;
  p.mm_per_px = scene.view.distance_mm / 1300;
  const auto bgr = scenes::render(scene, noise);
  const auto truth = scenes::truth_of(scene);
  p.ignore = {{{Ring<ImagePoint>(truth.card_corners.begin(), truth.card_corners.end()), {}}}};
  p.c.bgr = bgr;
  if (wound) make_case(p.c, "card " + std::to_string(n), bgr, mask_of(truth.outline, bgr.size()));
  return p;
}

/// A patch in a wound's colours painted on even skin of any of a koi's colours, with spots of slough, a rim and patches of other coat, or without.
/// `cloudy`: every other skin has clouds in lightness and colour.
Picture painted(int n, int round, bool cloudy = false) {
  Random random(90001 + 331 * static_cast<std::uint64_t>(n) + 1000003 * static_cast<std::uint64_t>(round));
  const auto between = [&](const cv::Scalar& a, const cv::Scalar& b) {
    const double t = random.uniform(0, 1);
    return cv::Scalar(a + t * (b - a) + cv::Scalar(random.uniform(-8, 8), random.uniform(-8, 8), random.uniform(-8, 8)));
  };
  // BGR: white, orange and black coats; raw flesh from bright to dark.
  const auto coat = [&] {
    const double pick = random.uniform(0, 1);
    if (pick < 0.6) return between({175, 190, 205}, {225, 230, 235});
    if (pick < 0.85) return between({30, 70, 190}, {70, 110, 225});
    return between({45, 45, 45}, {85, 80, 80});
  };
  const cv::Size size(900, 675);
  cv::Mat bgr(size, CV_8UC3, coat());
  const double radius = std::exp(random.uniform(std::log(16), std::log(110)));
  const ImagePoint at{random.uniform(320 + radius, 880 - radius * 0.8), random.uniform(1.2 * radius, 675 - 1.2 * radius)};
  const auto blob = [&](const ImagePoint& centre, double r, double roughness) {
    double a[4], phase[4];
    for (int k = 0; k < 4; ++k) a[k] = random.normal(0, roughness), phase[k] = random.uniform(0, 2 * CV_PI);
    const double stretch = random.uniform(0.75, 1);
    std::vector<cv::Point> points;
    for (int i = 0; i < 120; ++i) {
      const double t = 2 * CV_PI * i / 120;
      double g = 1;
      for (int k = 0; k < 4; ++k) g += a[k] * std::cos((k + 2) * t + phase[k]);
      points.emplace_back(cvRound(16 * (centre.x + r * g * std::cos(t))), cvRound(16 * (centre.y + r * stretch * g * std::sin(t))));
    }
    return points;
  };
  const auto paint = [&](const std::vector<cv::Point>& points, const cv::Scalar& colour) {
    cv::fillPoly(bgr, std::vector<std::vector<cv::Point>>{points}, colour, cv::LINE_AA, 4);
  };
  if (n % 3 == 0)
    for (int k = 0; k < 6; ++k) paint(blob({random.uniform(0, 900), random.uniform(0, 675)}, random.uniform(20, 110), 0.15), coat());
  const auto wound = blob(at, radius, 0.06);
  cv::Mat truth(size, CV_8U, cv::Scalar(0));
  cv::fillPoly(truth, std::vector<std::vector<cv::Point>>{wound}, 255, cv::LINE_8, 4);
  if (n % 2) {
    cv::Mat rim;
    cv::GaussianBlur(truth, rim, {}, 0.15 * radius);
    const double strength = random.uniform(0.1, 0.4) / 255;
    for (int y = 0; y < size.height; ++y)
      for (int x = 0; x < size.width; ++x) {
        const double t = strength * rim.at<uchar>(y, x);
        auto& c = bgr.at<cv::Vec3b>(y, x);
        c = cv::Vec3b(cv::saturate_cast<uchar>((1 - t) * c[0] + t * 70), cv::saturate_cast<uchar>((1 - t) * c[1] + t * 70),
                      cv::saturate_cast<uchar>((1 - t) * c[2] + t * 190));
      }
  }
  paint(wound, between({35, 35, 95}, {90, 90, 190}));
  if (n % 4 > 1)
    for (int k = 0; k < 4; ++k)
      paint(blob({at.x + random.uniform(-0.4, 0.4) * radius, at.y + random.uniform(-0.3, 0.3) * radius}, random.uniform(0.08, 0.2) * radius, 0.1),
            between({90, 150, 170}, {140, 190, 210}));
  cv::Mat light(size, CV_32FC3), wide, grain(size, CV_32FC3);
  const double slope = random.uniform(-0.2, 0.2), down = random.uniform(-0.2, 0.2), noise = random.uniform(0, cloudy ? 14 : 6);
  for (int y = 0; y < size.height; ++y)
    for (int x = 0; x < size.width; ++x)
      light.at<cv::Vec3f>(y, x) = cv::Vec3f::all(static_cast<float>(1 + slope * (x / 900.0 - 0.5) + down * (y / 675.0 - 0.5)));
  cv::rectangle(bgr, {30, 250, 260, 130}, {235, 235, 235}, -1);
  for (int k = 0; k < 18; ++k) cv::rectangle(bgr, {40 + 40 * (k % 6), 260 + 36 * (k / 6), 20, 20}, {30, 30, 30}, -1);
  bgr.convertTo(wide, CV_32FC3);
  cv::RNG grains(random.bits());
  grains.fill(grain, cv::RNG::NORMAL, 0, noise);
  if (cloudy && n / 2 % 2) {
    const double strength = random.uniform(4, 16);
    for (int octave = 0, cells = 4 + random.index(10); octave < 3; ++octave, cells *= 2) {
      cv::Mat clouds(cells * size.height / size.width + 1, cells, CV_32FC3), grown;
      grains.fill(clouds, cv::RNG::NORMAL, 0, strength / (octave + 1));
      cv::resize(clouds, grown, size, 0, 0, cv::INTER_CUBIC);
      if (n % 3 == 0) grown.setTo(0, truth);
      wide += grown;
    }
  }
  cv::Mat lit = wide.mul(light) + grain;
  cv::GaussianBlur(lit, lit, {}, random.uniform(0.6, 1.6));
  lit.convertTo(bgr, CV_8UC3);
  Picture p;
  p.ignore = {{{{{30, 250}, {290, 250}, {290, 380}, {30, 380}}, {}}}};
  p.mm_per_px = n % 5 == 0 ? 0 : 0.12;
  make_case(p.c, "painted " + std::to_string(n), bgr, truth);
  return p;
}

/// Cloudy skin (fractal plasma) with a plain dark red ellipse, made by ImageMagick; nothing like it was fitted to. Nothing where it is not installed.
std::vector<Picture> plasma(int most) {
  std::vector<Picture> out;
  const testing::TempFolder folder;
  constexpr std::array<const char*, 5> kSkins = {"#e8dccf-#cdb7a6", "#f0e6dc-#d9c3b8", "#d98a5a-#c26a3a", "#cfc4b8-#a89c92", "#e6cfc0-#c79f8e"};
  constexpr std::array<const char*, 3> kBeds = {"#8c3a34", "#a04848", "#70302c"};
  for (int n = 0; n < most; ++n) {
    Random random(60013 + 71 * static_cast<std::uint64_t>(n));
    const double a = std::exp(random.uniform(std::log(25), std::log(110))), b = a * random.uniform(0.6, 1);
    const ImagePoint at{random.uniform(1.3 * a, 900 - 1.3 * a), random.uniform(1.3 * b, 675 - 1.3 * b)};
    const auto file = folder.path() / "plasma.png";
    const auto command = fmt::format("convert -seed {} -size 900x675 plasma:{} -fill '{}' -draw 'ellipse {:.1f},{:.1f} {:.1f},{:.1f} 0,360' -blur 0x1 -depth 8 'PNG24:{}' 2>/dev/null",
                                     n + 1, kSkins[std::size_t(n) % kSkins.size()], kBeds[std::size_t(n) % kBeds.size()], at.x, at.y, a, b, file.string());
    if (std::system(command.c_str()) != 0) return out;
    Picture p;
    const auto bgr = photo::load(file).bgr;
    cv::Mat truth(bgr.size(), CV_8U, cv::Scalar(0));
    cv::ellipse(truth, cv::RotatedRect(cv::Point2f(float(at.x), float(at.y)), cv::Size2f(float(2 * a), float(2 * b)), 0), 255, -1);
    make_case(p.c, "plasma " + std::to_string(n), bgr, truth);
    out.push_back(p);
  }
  return out;
}

std::vector<Picture> feet(std::size_t most) {
  std::vector<Picture> out;
  for (auto& c : open_set("fuseg_foot_ulcer", most)) out.push_back({std::move(c), {}, 0, true});
  return out;
}

double dice(const Case& c, const ImageOutline& outline) {
  const cv::Mat mask = mask_of(outline, c.bgr.size());
  return 2.0 * cv::countNonZero(mask & c.truth) / (cv::countNonZero(mask) + cv::countNonZero(c.truth));
}

constexpr double kRight = 0.8;  ///< Dice from which a proposal is the wound

margin::FinderOptions options_of(const Picture& p) {
  margin::FinderOptions options;
  options.mm_per_px = p.mm_per_px;
  return options;
}

std::vector<margin::Proposed> candidates_of(const Picture& p) {
  return margin::proposals(p.c.bgr, margin::searched(p.c.bgr, p.ignore), p.ignore, options_of(p));
}

/// Logistic regression by Newton's steps with a ridge of 1; a row's terms, its label.
Eigen::VectorXd regression(const std::vector<Eigen::VectorXd>& rows, const std::vector<double>& labels) {
  const auto n = rows.front().size();
  Eigen::VectorXd w = Eigen::VectorXd::Zero(n);
  for (int round = 0; round < 25; ++round) {
    Eigen::MatrixXd H = Eigen::MatrixXd::Identity(n, n);
    Eigen::VectorXd g = -w;
    for (std::size_t i = 0; i < rows.size(); ++i) {
      const double q = 1 / (1 + std::exp(-w.dot(rows[i])));
      g += (labels[i] - q) * rows[i];
      H.selfadjointView<Eigen::Lower>().rankUpdate(rows[i], q * (1 - q) + 1e-9);
    }
    w += Eigen::MatrixXd(H.selfadjointView<Eigen::Lower>()).ldlt().solve(g);
  }
  return w;
}

void print_weights(const Eigen::VectorXd& w) {
  for (Eigen::Index k = 0; k < w.size(); ++k) std::printf("%.3f%s", w[k], k + 1 < w.size() ? ", " : "\n");
}

/// Pixels well inside and well outside of wounds.
void fit_colour() {
  std::vector<Picture> pictures;
  for (int n = 0; n < 240; ++n)
    if (n % 8 != 7) pictures.push_back(with_card(n, 1));
  for (int n = 0; n < 160; ++n) pictures.push_back(painted(n, 1, true));
  std::vector<Eigen::VectorXd> rows;
  std::vector<double> labels;
  Random random(7);
  for (const auto& p : pictures) {
    const auto crop = margin::make_crop(p.c.bgr, {0, 0, p.c.bgr.cols, p.c.bgr.rows}, 320);
    cv::Mat lab, truth, depth, height, weight(crop.bgr.size(), CV_32F, cv::Scalar(1));
    margin::lab_of(crop.bgr).convertTo(lab, CV_32FC3);
    cv::resize(p.c.truth, truth, crop.bgr.size(), 0, 0, cv::INTER_AREA);
    if (!p.ignore.empty()) weight.setTo(0, margin::filled(crop.in_crop(p.ignore), crop.bgr.size()));
    cv::distanceTransform(truth > 127, depth, cv::DIST_L2, 5);
    cv::distanceTransform(truth <= 127, height, cv::DIST_L2, 5);
    const double r = p.c.radius * crop.scale();
    std::vector<cv::Point> in, out;
    for (int y = 0; y < lab.rows; ++y)
      for (int x = 0; x < lab.cols; ++x) {
        if (depth.at<float>(y, x) > std::min(2.0, 0.2 * r)) in.push_back({x, y});
        if (height.at<float>(y, x) > 3 + 0.2 * r && weight.at<float>(y, x) > 0) out.push_back({x, y});
      }
    const auto traits = margin::colour_traits(lab, weight);
    for (const auto* side : {&in, &out}) {
      const int n = side == &in ? 60 : 240;
      for (int k = 0; k < n && !side->empty(); ++k) {
        Eigen::VectorXd row(margin::kColourTerms);
        margin::colour_terms(traits, (*side)[static_cast<std::size_t>(random.uniform(0, 1) * 0.999999 * static_cast<double>(side->size()))],
                             row.data());
        rows.push_back(row);
        labels.push_back(side == &in);
      }
    }
  }
  print_weights(regression(rows, labels));
}

/// The weights with which the right candidate of a photo, or none of them, is the likeliest choice, pulled to the present ones by ridges of several
/// strengths. `share`: of the pictures, 1 for all.
void fit(double share) {
  std::vector<Picture> pictures;
  const auto some = [&](int n) { return static_cast<int>(std::lround(share * n)); };
  for (int n = 0; n < some(150); ++n) pictures.push_back(with_card(n, 1));
  for (int n = 0; n < some(90); ++n) pictures.push_back(with_card(n, 1, false));
  // The same without a scale and without a card to keep close to.
  for (int n = 150; n < 150 + some(50); ++n) {
    auto p = with_card(n, 1);
    p.mm_per_px = 0;
    pictures.push_back(p);
  }
  for (int n = 0; n < some(150); ++n) {
    pictures.push_back(painted(n, 1, true));
    if (n % 3 == 0) pictures.back().ignore = {}, pictures.back().mm_per_px = 0;
  }
  struct Choice {
    std::vector<Eigen::VectorXd> rows;
    std::vector<bool> right;
    bool none = true;
  };
  std::vector<Choice> choices;
  constexpr int n = margin::kProposalTraits;
  int reachable = 0;
  for (const auto& p : pictures) {
    Choice choice;
    for (const auto& candidate : candidates_of(p)) {
      const double d = p.wound ? dice(p.c, candidate.margin.outline) : 0;
      if (d > 0.6 && d < kRight) continue;  // neither
      choice.rows.push_back(Eigen::Map<const Eigen::VectorXd>(candidate.traits.data(), n));
      choice.right.push_back(d >= kRight);
      choice.none &= d < kRight;
    }
    reachable += !choice.none;
    choices.push_back(choice);
  }
  std::fprintf(stderr, "%zu pictures, in %d of them a candidate is right\n", pictures.size(), reachable);
  Eigen::VectorXd present(n);
  for (int k = 0; k < n; ++k) {
    margin::ProposalTraits one{};
    one[static_cast<std::size_t>(k)] = 1;
    present[k] = margin::likeness(one);
  }
  for (const double pull : {0.3, 1.0, 3.0, 10.0}) {
    Eigen::VectorXd w = present;
    double right_share = 0;
    for (int round = 0; round < 60; ++round) {
      Eigen::MatrixXd H = pull * Eigen::MatrixXd::Identity(n, n);
      Eigen::VectorXd g = pull * (present - w);
      right_share = 0;
      for (const auto& choice : choices) {
        // The shares of all candidates beside "none" (weight 1), and of the right ones among themselves.
        double all = 1, right = 0, best = 1;
        bool best_right = choice.none;
        std::vector<double> e;
        for (std::size_t i = 0; i < choice.rows.size(); ++i) {
          e.push_back(std::exp(std::min(30.0, w.dot(choice.rows[i]))));
          all += e.back();
          if (choice.right[i]) right += e.back();
          if (e.back() > best) best = e.back(), best_right = choice.right[i];
        }
        right_share += best_right / static_cast<double>(choices.size());
        Eigen::VectorXd mean = Eigen::VectorXd::Zero(n);
        for (std::size_t i = 0; i < e.size(); ++i) {
          const double p = e[i] / all;
          mean += p * choice.rows[i];
          H += p * choice.rows[i] * choice.rows[i].transpose();
          g += ((choice.right[i] ? e[i] / right : 0) - p) * choice.rows[i];
        }
        H -= mean * mean.transpose();
      }
      w += 0.7 * H.ldlt().solve(g);
    }
    std::printf("pull %.1f, right choice in %.3f:\n", pull, right_share);
    print_weights(w);
  }
}

struct Row {
  int n = 0, right = 0, refused = 0, possible = 0;
  std::vector<double> dices;
};

Row tried(const std::vector<Picture>& pictures, bool verbose) {
  Row row;
  for (const auto& p : pictures) {
    ++row.n;
    const auto found = margin::propose(p.c.bgr, p.ignore, options_of(p));
    const double d = found && p.wound ? dice(p.c, found->outline) : 0;
    row.refused += !found;
    row.right += p.wound ? d > kRight : !found;
    if (d > kRight) row.dices.push_back(d);
    if (verbose) {
      std::printf("%s: %s %.3f; likeness (Dice):", p.c.name.c_str(), found ? "found" : "refused", d);
      auto all = candidates_of(p);
      std::sort(all.begin(), all.end(), [](const auto& a, const auto& b) { return margin::likeness(a.traits) > margin::likeness(b.traits); });
      for (std::size_t k = 0; k < all.size() && k < 5; ++k)
        std::printf(" %.2f (%.2f)", margin::likeness(all[k].traits), p.wound ? dice(p.c, all[k].margin.outline) : 0);
      std::printf("\n");
    }
  }
  return row;
}

}  // namespace

int main(int argc, char** argv) {
  bool brief = false, verbose = false;
  const char* only = nullptr;
  int most = 120;
  for (int k = 1; k < argc; ++k) {
    if (!std::strcmp(argv[k], "--fit")) return fit(k + 1 < argc ? std::atof(argv[k + 1]) : 1), 0;
    if (!std::strcmp(argv[k], "--fit-colour")) return fit_colour(), 0;
    if (std::isdigit(static_cast<unsigned char>(argv[k][0]))) most = std::atoi(argv[k]);
    brief |= !std::strcmp(argv[k], "--short");
    if (!std::strcmp(argv[k], "--only") && k + 1 < argc) only = argv[++k];
    verbose |= !std::strcmp(argv[k], "--verbose");
  }
  std::printf("| without any hint | photos | the wound | refused | median Dice where right |\n| --- | --- | --- | --- | --- |\n");
  double share = 1;
  const auto print = [&](const char* name, const auto& make) {
    if (only != nullptr && std::strstr(name, only) == nullptr) return;
    const std::vector<Picture> pictures = make();
    if (pictures.empty()) return;
    const auto row = tried(pictures, verbose);
    std::printf("| %s | %d | %d %% | %d %% | %s |\n", name, row.n, 100 * row.right / row.n, 100 * row.refused / row.n,
                row.dices.empty() ? "" : std::to_string(Scores::quantile(row.dices, 0.5)).substr(0, 5).c_str());
    std::fflush(stdout);
    if (pictures.front().wound) share = std::min(share, static_cast<double>(row.right) / row.n);
  };
  const auto several = [](int n, const auto& make) {
    std::vector<Picture> out;
    for (int k = 0; k < n; ++k) out.push_back(make(k));
    return out;
  };
  print("koi with the card beside the wound", [&] { return several(brief ? 3 : most, [](int n) { return with_card(n, 2); }); });
  print("painted on even skin", [&] { return several(brief ? 2 : most / 2, [](int n) { return painted(n, 2); }); });
  if (!brief) {
    print("cloudy skin by ImageMagick", [&] { return plasma(most / 4); });
    print("the sample case", [&] {
      std::vector<Picture> out;
      for (const auto& visit : scenes::sample_case().visits) {
        Picture p;
        const auto truth = scenes::truth_of(visit.scene);
        const auto bgr = scenes::render(visit.scene, visit.noise);
        make_case(p.c, visit.file_name, bgr, mask_of(truth.outline, bgr.size()));
        p.ignore = {{{Ring<ImagePoint>(truth.card_corners.begin(), truth.card_corners.end()), {}}}};
        p.mm_per_px = 0.08;
        out.push_back(p);
      }
      return out;
    });
    print("koi of the margin benchmark: no card, no scale", [&] {
      std::vector<Picture> out;
      for (const auto& stratum : koi_strata())
        for (int n = 0; n < std::min(8, most / 9); ++n) out.push_back({koi_case(stratum, n), {}, 0, true});
      return out;
    });
    print("foot ulcers", [&] { return feet(static_cast<std::size_t>(most)); });
  }
  print("koi without a wound: right is to refuse", [&] { return several(brief ? 1 : most / 3, [](int n) { return with_card(n, 2, false); }); });
  if (brief && share < 0.5) {
    std::printf("too few are right\n");
    return 1;
  }
  return 0;
}
