#include <lcms2.h>

#include <array>
#include <cstdlib>
#include <memory>
#include <opencv2/imgproc.hpp>

#include "photo/source.h"

namespace uroko::photo {

namespace {

struct Context {
  cmsContext context = cmsCreateContext(nullptr, nullptr);
  Context() { cmsSetLogErrorHandlerTHR(context, [](cmsContext, cmsUInt32Number, const char*) {}); }
  Context(const Context&) = delete;
  Context& operator=(const Context&) = delete;
  ~Context() { cmsDeleteContext(context); }
};
struct CloseProfile {
  void operator()(void* p) const { cmsCloseProfile(p); }
};
using Profile = std::unique_ptr<void, CloseProfile>;
struct DeleteTransform {
  void operator()(void* t) const { cmsDeleteTransform(t); }
};
using Transform = std::unique_ptr<void, DeleteTransform>;

Profile opened(const Context& c, const std::string& icc) {
  return Profile(icc.empty() ? nullptr : cmsOpenProfileFromMemTHR(c.context, icc.data(), static_cast<cmsUInt32Number>(icc.size())));
}

std::string described(cmsHPROFILE profile) {
  std::array<char, 120> text{};
  cmsGetProfileInfoASCII(profile, cmsInfoDescription, "en", "US", text.data(), text.size() - 1);
  std::string out;
  for (const char c : std::string(text.data()))
    if (static_cast<unsigned char>(c) >= 32 && c != 127) out += c;
  return out.empty() ? "unnamed" : out;
}

/// True when the transform moves no colour of a 9 x 9 x 9 lattice by more than one level: then 12 million pixels need not go through it.
bool changes_nothing(cmsHTRANSFORM transform) {
  constexpr int n = 9;
  std::array<uchar, n * n * n * 3> in{}, out{};
  std::size_t i = 0;
  for (int b = 0; b < n; ++b)
    for (int g = 0; g < n; ++g)
      for (int r = 0; r < n; ++r)
        for (const int v : {b, g, r}) in[i++] = static_cast<uchar>(v * 255 / (n - 1));
  cmsDoTransform(transform, in.data(), out.data(), n * n * n);
  for (i = 0; i < in.size(); ++i)
    if (std::abs(in[i] - out[i]) > 1) return false;
  return true;
}

void through(cmsHTRANSFORM transform, const cv::Mat& in, cv::Mat& out) {
  cv::parallel_for_(cv::Range(0, in.rows), [&](const cv::Range& rows) {
    for (int y = rows.start; y < rows.end; ++y) cmsDoTransform(transform, in.ptr(y), out.ptr(y), static_cast<cmsUInt32Number>(in.cols));
  });
}

/// Without a profile there is no right answer; this is what viewers do. Ink 0..255.
cv::Mat plain_cmyk(const cv::Mat& cmyk) {
  cv::Mat out(cmyk.size(), CV_8UC3);
  for (int y = 0; y < cmyk.rows; ++y) {
    const auto* in = cmyk.ptr(y);
    auto* to = out.ptr(y);
    for (int x = 0; x < cmyk.cols; ++x, in += 4, to += 3)
      for (int c = 0; c < 3; ++c) to[2 - c] = static_cast<uchar>(((255 - in[c]) * (255 - in[3]) + 127) / 255);
  }
  return out;
}

}  // namespace

std::string icc_name(const std::string& icc) {
  if (icc.empty()) return "none";
  const Context context;
  const auto profile = opened(context, icc);
  return profile ? described(profile.get()) : "unreadable";
}

std::string icc_for_primaries(int primaries) {
  // ITU-T H.273 table 2: 1 is BT.709 (sRGB's), 9 BT.2020, 12 Display P3. The tone curve is taken as sRGB's, as phones do.
  cmsCIExyYTRIPLE xy{};
  const char* text = nullptr;
  if (primaries == 12) {
    xy = {{0.680, 0.320, 1}, {0.265, 0.690, 1}, {0.150, 0.060, 1}};
    text = "Display P3";
  } else if (primaries == 9) {
    xy = {{0.708, 0.292, 1}, {0.170, 0.797, 1}, {0.131, 0.046, 1}};
    text = "BT.2020";
  } else {
    return {};
  }
  const Context context;
  const cmsCIExyY white{0.3127, 0.3290, 1};
  const cmsFloat64Number srgb[5] = {2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045};
  cmsToneCurve* curve = cmsBuildParametricToneCurve(context.context, 4, srgb);
  cmsToneCurve* curves[3] = {curve, curve, curve};
  const Profile profile(cmsCreateRGBProfileTHR(context.context, &white, &xy, curves));
  cmsFreeToneCurve(curve);
  if (!profile) return {};
  cmsMLU* named = cmsMLUalloc(context.context, 1);
  cmsMLUsetASCII(named, "en", "US", text);
  cmsWriteTag(profile.get(), cmsSigProfileDescriptionTag, named);
  cmsMLUfree(named);
  cmsUInt32Number size = 0;
  if (cmsSaveProfileToMem(profile.get(), nullptr, &size) == 0) return {};
  std::string out(size, '\0');
  return cmsSaveProfileToMem(profile.get(), out.data(), &size) != 0 ? out : std::string();
}

// NOLINTNEXTLINE(performance-unnecessary-value-param): given up by the caller, as lcms works in place on them
cv::Mat to_srgb(Pixels pixels, const std::string& icc, std::string& profile_name) {
  const bool cmyk = pixels.space == Pixels::Space::cmyk;
  profile_name = "none";
  if (!icc.empty()) {
    profile_name = "unreadable";
    const Context context;
    const auto from = opened(context, icc);
    const Profile to(cmsCreate_sRGBProfileTHR(context.context));
    if (from && to) {
      const auto space = cmsGetColorSpace(from.get());
      const bool grey = space == cmsSigGrayData && !cmyk;
      const bool fits = cmyk ? space == cmsSigCmykData : grey || space == cmsSigRgbData;
      const auto type = cmyk ? TYPE_CMYK_8 : grey ? TYPE_GRAY_8 : TYPE_BGR_8;
      const Transform transform(fits ? cmsCreateTransformTHR(context.context, from.get(), type, to.get(), TYPE_BGR_8, INTENT_RELATIVE_COLORIMETRIC,
                                                             cmsFLAGS_NOCACHE | cmsFLAGS_BLACKPOINTCOMPENSATION)
                                     : nullptr);
      if (transform) {
        profile_name = described(from.get());
        if (type == TYPE_BGR_8 && changes_nothing(transform.get())) return pixels.mat;
        cv::Mat in = pixels.mat;
        if (grey) cv::extractChannel(pixels.mat, in, 0);
        cv::Mat out = type == TYPE_BGR_8 ? in : cv::Mat(in.size(), CV_8UC3);  // lcms works in place where sizes agree
        through(transform.get(), in, out);
        return out;
      }
    }
  }
  return cmyk ? plain_cmyk(pixels.mat) : pixels.mat;
}

cv::Mat over_white(const cv::Mat& picture) {
  if (picture.channels() == 3) return picture;
  cv::Mat out(picture.size(), CV_8UC3);
  for (int y = 0; y < picture.rows; ++y) {
    const auto* in = picture.ptr(y);
    auto* to = out.ptr(y);
    for (int x = 0; x < picture.cols; ++x, in += 4, to += 3)
      for (int c = 0; c < 3; ++c) to[c] = static_cast<uchar>((in[c] * in[3] + 255 * (255 - in[3]) + 127) / 255);
  }
  return out;
}

cv::Mat upright(const cv::Mat& picture, int orientation) {
  // Exif 2.32, 4.6.4 "Orientation": which corner of the scene the stored first row and column are.
  cv::Mat out;
  switch (orientation) {
    case 2: cv::flip(picture, out, 1); return out;
    case 3: cv::rotate(picture, out, cv::ROTATE_180); return out;
    case 4: cv::flip(picture, out, 0); return out;
    case 5: cv::transpose(picture, out); return out;
    case 6: cv::rotate(picture, out, cv::ROTATE_90_CLOCKWISE); return out;
    case 7: {
      cv::Mat turned;
      cv::transpose(picture, turned);
      cv::flip(turned, out, -1);
      return out;
    }
    case 8: cv::rotate(picture, out, cv::ROTATE_90_COUNTERCLOCKWISE); return out;
    default: return picture;
  }
}

}  // namespace uroko::photo
