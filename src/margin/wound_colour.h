#pragma once
#include <opencv2/core.hpp>
#include <vector>

namespace uroko::margin {

/// How a pixel and its surroundings look: colour, colour against two surroundings, unevenness of lightness; of order one.
constexpr int kColourTraits = 10;
/// The same with 1 before and all products behind: what the weights stand for.
constexpr int kColourTerms = 1 + kColourTraits + kColourTraits * (kColourTraits + 1) / 2;

/// `lab`: CV_32FC3 in 8-bit CIELAB units of a whole photo, 320 px on its longer side; `weight`: CV_32F, 0 where the reference lies. One CV_32F
/// picture a trait.
std::vector<cv::Mat> colour_traits(const cv::Mat& lab, const cv::Mat& weight);
void colour_terms(const std::vector<cv::Mat>& traits, const cv::Point& at, double* terms);

/// The mean of a CV_32F picture (of one or three channels) under a Gaussian, over what has weight.
cv::Mat smoothed(const cv::Mat& picture, const cv::Mat& weight, double sigma);

/// How likely each pixel is an open wound's, before anything is known of the photo: CV_32F, 0 to 1. Weights made by `bench_propose --fit-colour`.
cv::Mat wound_colour(const cv::Mat& lab, const cv::Mat& weight);

}  // namespace uroko::margin
