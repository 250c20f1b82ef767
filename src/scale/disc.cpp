#include "uroko/scale/references.h"

namespace uroko::scale {

Result<PlaneMap> from_disc(const cv::Mat&, const Camera&, const ImagePoint&, double) {
  return Refusal{"no-disc", "no round disc was found at that point", "click nearer to the middle of the coin"};
}

}  // namespace uroko::scale
