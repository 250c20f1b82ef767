#include "uroko/report/koi_outline.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "uroko/base/text.h"

namespace uroko::report {
namespace {

// The drawing's own unit: 100 from snout to the end of the tail; y 0 on the axis, down positive. Drawn by hand for this program;
// body depth about 29 % of the total length, as koi are (common practice).
constexpr double kBack = -15.0, kBelly = 14.0, kTop = -21.5, kBottom = 20.5, kMargin = 2;

using Points = std::vector<Point>;
const Points kBody{{0.6, 0.8},  {2.2, -1.6}, {6, -4.9},   {11, -8.4},  {18, -11.9},  {27, -14.3}, {36, -15},     {46, -14.4},
                   {56, -12.2}, {66, -8.9},  {74, -6.2},  {80, -4.7},  {85, -7},     {91, -11.6}, {96.5, -15.2}, {99.4, -16},
                   {97.6, -10}, {94.4, -4},  {93.2, 0.2}, {94.4, 4.4}, {97.4, 10.2}, {99, 16},    {96, 15.2},    {90.5, 11.2},
                   {85, 6.8},   {80, 4.6},   {74, 5.4},   {66, 7.7},   {56, 11.2},   {46, 13.6},  {36, 14},      {27, 12.6},
                   {18, 9.9},   {11, 7.2},   {6, 4.8},    {2.6, 3.2},  {0.9, 2.2}};
const Points kDorsal{{35.5, -15}, {37.5, -20}, {40, -21.3}, {44, -20.3}, {50, -17.9}, {57, -15.6}, {63, -13.8}, {64.6, -12.2}, {62.5, -10.2}};
const Points kPectoral{{20.5, 7.6}, {23.5, 12.4}, {28, 16.4}, {32, 17.6}, {33, 15.4}, {30.5, 11.4}, {25.5, 8.2}};
const Points kPelvic{{44.5, 13.6}, {47, 17.4}, {51, 20}, {53.6, 19.6}, {53, 16.4}, {50.5, 12.9}};
const Points kAnal{{65.5, 7.8}, {69, 12}, {73.2, 14.4}, {75.4, 13.4}, {74.4, 9.6}, {72.5, 5.8}};
const Points kGill{{17.2, -8.6}, {20.4, -5}, {21.4, -0.5}, {20.4, 4.4}, {17, 8}};
const Points kMouth{{0.8, 1.5}, {2.8, 1.9}, {4.4, 1.4}};
const Points kLateral{{22, -2.2}, {36, -1.6}, {52, -1.2}, {66, -0.8}, {80, -0.2}, {88, 0}};

// Uniform Catmull-Rom through the points.
Points smooth(const Points& p, bool closed) {
  Points out;
  const int n = static_cast<int>(p.size());
  const auto at = [&](int i) { return closed ? p[static_cast<std::size_t>((i + n) % n)] : p[static_cast<std::size_t>(std::clamp(i, 0, n - 1))]; };
  const int spans = closed ? n : n - 1;
  for (int i = 0; i < spans; ++i)
    for (int k = 0; k < 6; ++k) {
      const Point a = at(i - 1), b = at(i), c = at(i + 1), d = at(i + 2);
      const double t = k / 6.0;
      const auto f = [t](double a, double b, double c, double d) {
        return 0.5 * (2 * b + (c - a) * t + (2 * a - 5 * b + 4 * c - d) * t * t + (3 * b - a - 3 * c + d) * t * t * t);
      };
      out.push_back({f(a.x, b.x, c.x, d.x), f(a.y, b.y, c.y, d.y)});
    }
  if (!closed) out.push_back(p.back());
  return out;
}

}  // namespace

const std::vector<BodySite>& body_sites() {
  static const auto place = [](double x, double y) { return KoiPlace{x / 100, (y - kBack) / (kBelly - kBack)}; };
  static const std::vector<BodySite> sites{
      {"mouth", place(2.5, 1)},       {"head", place(10, -4.5)},       {"eye", place(8.6, -2)},        {"gill cover", place(16.5, 0.5)},
      {"nape", place(22, -9.5)},      {"pectoral fin", place(28, 13)}, {"shoulder", place(29, -4)},    {"back", place(46, -10.5)},
      {"dorsal fin", place(46, -17)}, {"flank", place(47, 1.5)},       {"belly", place(38, 10)},       {"pelvic fin", place(50, 16.5)},
      {"vent", place(62, 8)},         {"anal fin", place(71, 10.5)},   {"tail base", place(77, -0.5)}, {"tail fin", place(92.5, -6.5)}};
  return sites;
}

std::optional<KoiPlace> site_place(const std::string& site) {
  const std::string text = lower_ascii(site);
  const BodySite* best = nullptr;
  for (const auto& known : body_sites())
    if (text.find(known.name) != std::string::npos && (!best || known.name.size() > best->name.size())) best = &known;
  if (!best) return std::nullopt;
  return best->place;
}

const std::string& site_near(KoiPlace place) {
  const auto& sites = body_sites();
  const auto far = [&](const BodySite& s) { return std::hypot(s.place.x - place.x, (s.place.y - place.y) * (kBelly - kBack) / 100); };
  return std::min_element(sites.begin(), sites.end(), [&](const auto& a, const auto& b) { return far(a) < far(b); })->name;
}

namespace {
double unit(const KoiOutline& koi) { return koi.scene.width / (100 + 2 * kMargin); }
}  // namespace

Point KoiOutline::at_place(KoiPlace place) const {
  const double u = unit(*this), x = looks_left ? place.x * 100 : 100 - place.x * 100;
  return {(x + kMargin) * u, (kBack + place.y * (kBelly - kBack) - kTop + kMargin) * u};
}

KoiPlace KoiOutline::place_of(Point p) const {
  const double u = unit(*this), x = p.x / u - kMargin, y = p.y / u - kMargin + kTop;
  return {(looks_left ? x : 100 - x) / 100, (y - kBack) / (kBelly - kBack)};
}

bool KoiOutline::on_body(Point p) const {
  const KoiPlace place = place_of(p);
  const Point q{place.x * 100, kBack + place.y * (kBelly - kBack)};
  static const Points body = smooth(kBody, true);
  bool inside = false;
  for (std::size_t i = 0, k = body.size() - 1; i < body.size(); k = i++)
    if ((body[i].y > q.y) != (body[k].y > q.y) && q.x < (body[k].x - body[i].x) * (q.y - body[i].y) / (body[k].y - body[i].y) + body[i].x)
      inside = !inside;
  return inside;
}

KoiOutline koi_outline(const KoiOutlineOptions& options) {
  const Palette& colours = palette(options.theme);
  KoiOutline koi;
  koi.looks_left = options.looks_left;
  koi.scene.width = options.width;
  koi.scene.height = options.width * (kBottom - kTop + 2 * kMargin) / (100 + 2 * kMargin);
  const double u = unit(koi), line = std::clamp(options.width / 220, 0.7, 1.6);
  const auto to = [&](const Points& points) {
    Points out;
    for (const auto& p : points) out.push_back({((options.looks_left ? p.x : 100 - p.x) + kMargin) * u, (p.y - kTop + kMargin) * u});
    return out;
  };
  auto& items = koi.scene.items;
  if (options.ground)
    items.push_back(Fill{{{0, 0}, {koi.scene.width, 0}, {koi.scene.width, koi.scene.height}, {0, koi.scene.height}}, colours.paper, Hatch::none});
  Colour wash = colours.ink;
  wash.a = 10;
  const auto fin = [&](const Points& points) {
    const auto shape = to(smooth(points, false));
    items.push_back(Fill{shape, wash, Hatch::none});
    items.push_back(PolyLine{shape, colours.quiet, 0.8 * line, Dash::solid, false});
  };
  fin(kDorsal);
  fin(kPelvic);
  fin(kAnal);
  const auto body = to(smooth(kBody, true));
  items.push_back(Fill{body, wash, Hatch::none});
  items.push_back(PolyLine{body, colours.ink, 1.1 * line, Dash::solid, true});
  fin(kPectoral);
  items.push_back(PolyLine{to(smooth(kGill, false)), colours.quiet, 0.8 * line, Dash::solid, false});
  items.push_back(PolyLine{to(smooth(kMouth, false)), colours.quiet, 0.8 * line, Dash::solid, false});
  items.push_back(PolyLine{to(smooth(kLateral, false)), colours.quiet, 0.7 * line, Dash::dotted, false});
  for (const Points& barbel : {Points{{3.2, 2.8}, {3.1, 4.4}, {2.4, 5.6}}, Points{{4.8, 3.6}, {5, 5.4}, {4.7, 6.8}}})
    items.push_back(PolyLine{to(smooth(barbel, false)), colours.quiet, 0.7 * line, Dash::solid, false});
  for (const Points& ray :
       {Points{{82, -3.6}, {90, -9}, {96, -13}}, Points{{82, 3.4}, {90, 8.8}, {95.5, 13}}, Points{{83, -1.2}, {89, -3.4}, {93, -5}},
        Points{{83, 1.2}, {89, 3.4}, {93, 5}}, Points{{40, -15}, {42.5, -20}}, Points{{46, -14.6}, {48.5, -18}}, Points{{52, -13.4}, {54.6, -16}}})
    items.push_back(PolyLine{to(ray), colours.hairline, 0.8 * line, Dash::solid, false});
  items.push_back(Disc{to({{8.6, -2}})[0], 1.25 * u, colours.paper, colours.ink, 0.9 * line});
  items.push_back(Disc{to({{8.6, -2}})[0], 0.6 * u, colours.ink, colours.ink, 0});
  if (options.wound) {
    const Point at = koi.at_place(*options.wound);
    const double r = std::clamp(options.wound_length * 100 * u / 2, 2.2 * u, 12 * u);
    Points ellipse;
    for (int i = 0; i < 36; ++i)
      ellipse.push_back({at.x + r * std::cos(i * std::numbers::pi / 18), at.y + 0.75 * r * std::sin(i * std::numbers::pi / 18)});
    Colour mark = colours.restart;
    mark.a = 70;
    items.push_back(Fill{ellipse, mark, Hatch::none});
    items.push_back(Fill{ellipse, colours.restart, Hatch::diagonal});
    items.push_back(PolyLine{ellipse, colours.restart, 1.3 * line, Dash::solid, true});
  }
  return koi;
}

}  // namespace uroko::report
