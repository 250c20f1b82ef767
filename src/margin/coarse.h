#pragma once
#include <opencv2/core.hpp>

#include "uroko/geometry/polygon.h"

namespace uroko::margin {

/// The wound's pixels on a reduced crop, to about a pixel, as 255 on a CV_8U picture; empty when nothing was found.
///
/// `lab`: CV_8UC3 crop; `loop`: CV_8U nonzero inside the rough loop; `certain_in`, `certain_out`: CV_8U or empty, places that a person has said are
/// wound or skin. Three kinds of evidence meet in one minimum cut:
/// the colour (histograms of both sides, learned by expectation and maximisation), the loop itself (a person keeps a fairly even distance, so
/// the wound begins at a depth inside the loop that is unknown but common all round), and the contrast between neighbours.
/// The common depth is taken from several trials, weighted by the contrast that each one's edge has all round.
cv::Mat coarse_in_loop(const cv::Mat& lab, const cv::Mat& loop, const cv::Mat& certain_in = {}, const cv::Mat& certain_out = {});

/// The same cut from log-odds that say what is known of each pixel (CV_32F; -20 and 20 are certain); the colours are learned from them.
cv::Mat coarse_from_prior(const cv::Mat& lab, const cv::Mat& prior);

/// The same about a ring that is right to `doubt_px`: inside it colour may still say skin.
cv::Mat cut_about_ring(const cv::Mat& lab, const Ring<ImagePoint>& ring, double doubt_px);

/// The largest connected part, its holes filled unless they are to be kept.
cv::Mat largest_part(const cv::Mat& mask, bool keep_holes);

}  // namespace uroko::margin
