#pragma once
#include <opencv2/core.hpp>

#include "uroko/geometry/polygon.h"

namespace uroko::margin {

struct BandOptions {
  double half_width_px = 5;  ///< how far the edge may move each way
  double spacing_px = 2;     ///< between nodes
  int max_nodes = 1200;
  double region = 0.2;  ///< price of a sample that fits the other side's colour, a pixel
  /// Price of no step up in lightness outward. The bed lies below the skin: its wall is shaded, the lip above it is pale (86 foot ulcers:
  /// L* rises outward along 95 % of the margin in the median photo; a pale lip is thus left outside whatever the coat beyond it).
  double rise = 2;
  bool island = false;  ///< the wound lies outside the ring
  double hold = 0.5;  ///< how strongly the given place counts (log-likelihood at the band's rim)
};

/// The edge along one ring, settled to a part of a pixel.
struct Band {
  Ring<ImagePoint> ring;
  std::vector<double> doubt_px;  ///< standard deviation of the edge's place across itself, a node
  std::vector<double> contrast;  ///< separation of the two sides' colours a node, in their pooled standard deviations
  std::vector<double> rise;      ///< step up in lightness out of the wound a node, -1..1
  double softness_px = 0;        ///< median Gaussian sigma of the edge
  double moved_px = 0;           ///< root mean square move from the given ring
};

/// Dynamic programming across the ring's normals: colours of both sides (local means along the ring, Fisher's direction), region and edge
/// evidence weighted by how well the sides separate, a penalty on jumps; closed by running round twice. The doubt is the posterior's
/// standard deviation by forward and backward sums over the same chain. `lab`: CV_8UC3; `glare`: CV_8U nonzero where colour says nothing, or empty.
Band settle(const cv::Mat& lab, const cv::Mat& glare, const Ring<ImagePoint>& ring, const BandOptions& options);

}  // namespace uroko::margin
