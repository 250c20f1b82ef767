#pragma once
#include <array>
#include <vector>

#include "uroko/margin/margin.h"

namespace uroko::margin {

/// What a closed margin and its surroundings look like, in numbers of order one; the first is 1. `proposal.cpp` says what each is.
constexpr int kProposalTraits = 23;
using ProposalTraits = std::array<double, kProposalTraits>;

struct Proposed {
  Margin margin;
  ProposalTraits traits{};
};

/// Margins round the places that stand out, each by its own loop, with what they look like, and wound_colour of the photo. `ignore`: the reference,
/// may be empty.
struct Proposals {
  std::vector<Proposed> all;
  cv::Mat colour;
};
Proposals proposals(const cv::Mat& bgr, const ImageOutline& ignore, const FinderOptions& options);

/// `mm_per_px` 0: not known. `colour`: wound_colour of the whole photo.
ProposalTraits traits_of(const cv::Mat& bgr, const ImageOutline& outline, const ImageOutline& ignore, double mm_per_px, const cv::Mat& colour);

/// How much these look like a wound's; 0 and below: no more than nothing does. Of the candidates of a photo the k-th is right with e^likeness_k / (1
/// + sum of e^likeness) (conditional logit; the weights are made by `bench_propose --fit`).
double likeness(const ProposalTraits& traits);

}  // namespace uroko::margin
