#include "report/paint_svg.h"

#include <algorithm>
#include <cmath>

#include "report/text.h"
#include "uroko/base/text.h"
#include "uroko/photo/photo.h"

namespace uroko::report {
namespace {

std::string escaped(const std::string& text) {
  std::string out;
  for (char c : printable(text)) {
    if (c == '&')
      out += "&amp;";
    else if (c == '<')
      out += "&lt;";
    else if (c == '>')
      out += "&gt;";
    else if (c == '"')
      out += "&quot;";
    else
      out += c;
  }
  // U+FFFE and U+FFFF are UTF-8 but not XML characters.
  for (const char* bad : {"\xef\xbf\xbe", "\xef\xbf\xbf"})
    for (std::size_t at; (at = out.find(bad)) != std::string::npos;) out.replace(at, 3, "\xef\xbf\xbd");
  return out;
}

std::string n(double value) {
  std::string text = fixed_text(value, 2);
  while (text.back() == '0') text.pop_back();
  if (text.back() == '.') text.pop_back();
  return text;
}

std::string colour(const char* name, const Colour& c) {
  static const char digits[] = "0123456789abcdef";
  if (c.a == 0) return std::string(" ") + name + "=\"none\"";
  std::string out = std::string(" ") + name + "=\"#";
  for (int v : {c.r, c.g, c.b}) {
    out += digits[v >> 4];
    out += digits[v & 15];
  }
  out += "\"";
  if (c.a < 255) out += std::string(" ") + name + "-opacity=\"" + fixed_text(c.a / 255.0, 3) + "\"";
  return out;
}

std::string points_path(const std::vector<Point>& points, bool closed) {
  std::string d;
  for (std::size_t i = 0; i < points.size(); ++i) d += (i ? "L" : "M") + n(points[i].x) + " " + n(points[i].y);
  return closed ? d + "Z" : d;
}

std::string base64(const std::string& bytes) {
  static const char digits[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
  std::string out;
  out.reserve((bytes.size() + 2) / 3 * 4);
  for (std::size_t i = 0; i < bytes.size(); i += 3) {
    const auto at = [&](std::size_t k) { return k < bytes.size() ? static_cast<unsigned char>(bytes[k]) : 0u; };
    const unsigned v = at(i) << 16 | at(i + 1) << 8 | at(i + 2);
    out += digits[v >> 18];
    out += digits[v >> 12 & 63];
    out += i + 1 < bytes.size() ? digits[v >> 6 & 63] : '=';
    out += i + 2 < bytes.size() ? digits[v & 63] : '=';
  }
  return out;
}

struct Writer {
  std::string out;

  void operator()(const PolyLine& line) {
    if (line.points.size() < 2) return;
    out += "<path d=\"" + points_path(line.points, line.closed) + "\" fill=\"none\" stroke-linejoin=\"round\"" + colour("stroke", line.colour) +
           " stroke-width=\"" + n(line.width) + "\"";
    const double w = std::max(1.0, line.width);
    if (line.dash == Dash::dashed) out += " stroke-dasharray=\"" + n(4 * w) + " " + n(3 * w) + "\"";
    if (line.dash == Dash::dotted) out += " stroke-linecap=\"round\" stroke-dasharray=\"0.01 " + n(2.6 * w) + "\"";
    out += "/>\n";
  }
  void operator()(const Fill& fill) {
    if (fill.points.size() < 3) return;
    if (fill.hatch == Hatch::none) {
      out += "<path d=\"" + points_path(fill.points, true) + "\" fill-rule=\"evenodd\"" + colour("fill", fill.colour) + "/>\n";
      return;
    }
    const auto hatch = hatch_strokes(fill);
    std::string d;
    for (const auto& [a, b] : hatch.strokes) d += points_path({a, b}, false);
    if (!d.empty())
      out += "<path d=\"" + d + "\" fill=\"none\"" + colour("stroke", fill.colour) + " stroke-width=\"" + n(kHatchStrokeWidth) + "\"/>\n";
    d.clear();
    for (const auto& p : hatch.dots) d += "M" + n(p.x) + " " + n(p.y) + "h0.01";
    if (!d.empty())
      out += "<path d=\"" + d + "\" fill=\"none\" stroke-linecap=\"round\"" + colour("stroke", fill.colour) + " stroke-width=\"" +
             n(2 * kHatchDotRadius) + "\"/>\n";
  }
  void operator()(const Disc& disc) {
    out += "<circle cx=\"" + n(disc.at.x) + "\" cy=\"" + n(disc.at.y) + "\" r=\"" + n(disc.radius) + "\"" + colour("fill", disc.fill);
    if (disc.edge.a && disc.edge_width > 0) out += colour("stroke", disc.edge) + " stroke-width=\"" + n(disc.edge_width) + "\"";
    out += "/>\n";
  }
  void operator()(const Label& label) {
    if (label.text.empty()) return;
    out += "<text x=\"" + n(label.at.x) + "\" y=\"" + n(label.at.y) + "\" font-size=\"" + n(label.size) + "\"" + colour("fill", label.colour);
    if (label.anchor == Anchor::middle) out += " text-anchor=\"middle\"";
    if (label.anchor == Anchor::right) out += " text-anchor=\"end\"";
    if (label.bold) out += " font-weight=\"bold\"";
    if (label.turn_deg != 0) out += " transform=\"rotate(" + n(label.turn_deg) + " " + n(label.at.x) + " " + n(label.at.y) + ")\"";
    out += ">" + escaped(label.text) + "</text>\n";
  }
  void operator()(const Picture& picture) {
    if (picture.bgr.empty() || picture.w <= 0 || picture.h <= 0) return;
    out += "<image x=\"" + n(picture.at.x) + "\" y=\"" + n(picture.at.y) + "\" width=\"" + n(picture.w) + "\" height=\"" + n(picture.h) +
           "\" preserveAspectRatio=\"none\" xlink:href=\"data:image/jpeg;base64," + base64(photo::encode_jpeg(picture.bgr, 88)) + "\"/>\n";
  }
};

}  // namespace

std::string paint_svg(const Scene& scene, const About& about) {
  Writer writer;
  writer.out =
      "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" xmlns:xlink=\"http://www.w3.org/1999/xlink\" "
      "version=\"1.1\" role=\"img\" width=\"" +
      n(scene.width) + "pt\" height=\"" + n(scene.height) + "pt\" viewBox=\"0 0 " + n(scene.width) + " " + n(scene.height) +
      "\" font-family=\"'DejaVu Sans', Verdana, sans-serif\" xml:space=\"preserve\">\n";
  if (!about.title.empty()) writer.out += "<title>" + escaped(about.title) + "</title>\n";
  if (!about.subject.empty()) writer.out += "<desc>" + escaped(about.subject) + "</desc>\n";
  for (const auto& item : scene.items) std::visit(writer, item);
  writer.out += "</svg>\n";
  return std::move(writer.out);
}

}  // namespace uroko::report
