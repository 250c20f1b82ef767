#pragma once
#include <array>
#include <vector>

#include "margin/crop.h"
#include "uroko/margin/margin.h"

namespace uroko::margin {

/// What a closed margin and its surroundings look like, in numbers of order one; the first is 1. `proposal.cpp` says what each is.
constexpr int kProposalTraits = 23;
using ProposalTraits = std::array<double, kProposalTraits>;

/// The photo reduced for the search, and what the same for every candidate.
struct Searched {
  Crop crop;           ///< the whole photo, 320 px on its longer side
  cv::Mat lab;         ///< CV_8UC3
  cv::Mat ignored;     ///< CV_8U, 255 under the reference
  cv::Mat away;        ///< CV_32F, px from the reference; empty without one
  cv::Mat weight;      ///< CV_32F, 0 under the reference and close to it
  cv::Mat colour;      ///< wound_colour of the photo
};
Searched searched(const cv::Mat& bgr, const ImageOutline& ignore);

struct Proposed {
  Margin margin;
  ProposalTraits traits{};
};

/// Margins round the places that stand out, each by its own loop, with what they look like. `ignore`: the reference, may be empty.
std::vector<Proposed> proposals(const cv::Mat& bgr, const Searched& photo, const ImageOutline& ignore, const FinderOptions& options);

/// `mm_per_px` 0: not known.
ProposalTraits traits_of(const cv::Mat& bgr, const Searched& photo, const ImageOutline& outline, const ImageOutline& ignore, double mm_per_px);

/// How much these look like a wound's; 0 and below: no more than nothing does. Of the candidates of a photo the k-th is right with e^likeness_k / (1
/// + sum of e^likeness) (conditional logit; the weights are made by `bench_propose --fit`).
double likeness(const ProposalTraits& traits);

}  // namespace uroko::margin
