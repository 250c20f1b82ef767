// The general-purpose libraries' own ways of the same jobs, called plainly.
#pragma once
#include <cairo-pdf.h>
#include <gsl/gsl_fit.h>
#include <pango/pangocairo.h>
#include <turbojpeg.h>

#include <cstdlib>
#include <opencv2/aruco.hpp>
#include <opencv2/imgcodecs.hpp>
#include <stdexcept>

#include "uroko/base/file.h"
#include "uroko/healing/series.h"
#include "uroko/report/scene.h"

namespace uroko::bench {

inline void turbo_check(int status, tjhandle handle) {
  if (status != 0) throw std::runtime_error(tjGetErrorStr2(handle));
}

/// A camera's JPEG: quality 92, 4:2:0, by libjpeg-turbo.
inline std::string turbo_encoded(const cv::Mat& bgr, int quality = 92) {
  const tjhandle handle = tjInitCompress();
  unsigned char* bytes = nullptr;
  unsigned long size = 0;
  turbo_check(tjCompress2(handle, bgr.data, bgr.cols, static_cast<int>(bgr.step), bgr.rows, TJPF_BGR, &bytes, &size, TJSAMP_420, quality, 0), handle);
  std::string out(reinterpret_cast<const char*>(bytes), size);
  tjFree(bytes);
  tjDestroy(handle);
  return out;
}

/// libjpeg-turbo through its own interface: the file's bytes, its header, the pixels at 1 / shrink. `fast`: the cheap upsampling of colour.
inline cv::Mat turbo_decoded(const std::filesystem::path& file, int shrink, bool fast) {
  const std::string bytes = read_file(file, std::size_t{1} << 30);
  const auto* data = reinterpret_cast<const unsigned char*>(bytes.data());
  const tjhandle handle = tjInitDecompress();
  int width = 0, height = 0, sampling = 0, space = 0;
  turbo_check(tjDecompressHeader3(handle, data, bytes.size(), &width, &height, &sampling, &space), handle);
  const tjscalingfactor factor{1, shrink};
  cv::Mat out(TJSCALED(height, factor), TJSCALED(width, factor), CV_8UC3);
  turbo_check(tjDecompress2(handle, data, bytes.size(), out.data, out.cols, static_cast<int>(out.step), out.rows, TJPF_BGR, fast ? TJFLAG_FASTUPSAMPLE : 0), handle);
  tjDestroy(handle);
  return out;
}

/// OpenCV's detector with its defaults on the photo as it is; the number of markers.
inline std::size_t markers_plainly(const cv::Mat& bgr) {
  std::vector<std::vector<cv::Point2f>> corners;
  std::vector<int> ids;
  cv::aruco::detectMarkers(bgr, cv::aruco::getPredefinedDictionary(cv::aruco::DICT_4X4_50), corners, ids);
  return ids.size();
}

/// GSL's weighted straight line through ln area, once for each model that the verdict weighs at that many looks (two scales, 14 spreads
/// between visits, 13 choices of a wrong look, 25 of a bend).
inline double lines_by_gsl(const healing::Series& series) {
  std::vector<double> day, weight, y;
  for (const auto& look : series.looks) {
    day.push_back(look.date.days());
    y.push_back(std::log(look.area_mm2));
    weight.push_back(std::pow(look.area_mm2 / look.u_mm2, 2));
  }
  double sum = 0;
  for (int model = 0; model < 2 * 14 * 13 * 25; ++model) {
    double c0 = 0, c1 = 0, v00 = 0, v01 = 0, v11 = 0, chi = 0;
    gsl_fit_wlinear(day.data(), 1, weight.data(), 1, y.data(), 1, day.size(), &c0, &c1, &v00, &v01, &v11, &chi);
    sum += c1;
  }
  return sum;
}

/// Pango and Cairo put every label and photo of pages that are already laid out into a PDF; no lines, no areas, no layout.
inline std::size_t labels_by_pango(const std::vector<report::Scene>& pages) {
  std::size_t written = 0;
  cairo_surface_t* surface = cairo_pdf_surface_create_for_stream(
      [](void* total, const unsigned char*, unsigned length) {
        *static_cast<std::size_t*>(total) += length;
        return CAIRO_STATUS_SUCCESS;
      },
      &written, 595, 842);
  cairo_t* cr = cairo_create(surface);
  for (const auto& page : pages) {
    for (const auto& item : page.items) {
      if (const auto* label = std::get_if<report::Label>(&item)) {
        PangoLayout* layout = pango_cairo_create_layout(cr);
        PangoFontDescription* font = pango_font_description_from_string(label->bold ? "DejaVu Sans Bold" : "DejaVu Sans");
        pango_font_description_set_absolute_size(font, label->size * PANGO_SCALE);
        pango_layout_set_font_description(layout, font);
        pango_layout_set_text(layout, label->text.c_str(), -1);
        cairo_move_to(cr, label->at.x, label->at.y);
        pango_cairo_show_layout(cr, layout);
        pango_font_description_free(font);
        g_object_unref(layout);
      } else if (const auto* picture = std::get_if<report::Picture>(&item); picture && !picture->bgr.empty()) {
        auto* jpeg = new std::string(turbo_encoded(picture->bgr, 88));
        cairo_surface_t* image = cairo_image_surface_create(CAIRO_FORMAT_RGB24, picture->bgr.cols, picture->bgr.rows);
        cairo_surface_set_mime_data(
            image, CAIRO_MIME_TYPE_JPEG, reinterpret_cast<const unsigned char*>(jpeg->data()), jpeg->size(), [](void* held) { delete static_cast<std::string*>(held); }, jpeg);
        cairo_save(cr);
        cairo_scale(cr, picture->w / picture->bgr.cols, picture->h / picture->bgr.rows);
        cairo_set_source_surface(cr, image, 0, 0);
        cairo_paint(cr);
        cairo_restore(cr);
        cairo_surface_destroy(image);
      }
    }
    cairo_show_page(cr);
  }
  cairo_destroy(cr);
  cairo_surface_finish(surface);
  cairo_surface_destroy(surface);
  return written;
}

}  // namespace uroko::bench
