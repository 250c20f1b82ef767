// The healing room's statistics against tables, certified regressions and the GNU Scientific Library.
#include <gsl/gsl_cdf.h>
#include <gsl/gsl_fit.h>
#include <gsl/gsl_matrix.h>
#include <gsl/gsl_multifit.h>
#include <gsl/gsl_vector.h>

#include <array>
#include <catch2/catch.hpp>
#include <cmath>
#include <vector>

#include "healing/trend.h"
#include "uroko/base/estimate.h"
#include "uroko/base/random.h"
#include "uroko/healing/series.h"

using namespace uroko;
using namespace uroko::healing;

TEST_CASE("Student's t quantiles are those of the printed tables and of the GNU Scientific Library") {
  // NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.2, upper critical values at 0.975 and 0.995 (typed from memory, confirmed by GSL below).
  struct Row { double dof, t975, t995; };
  for (const auto& row : {Row{1, 12.706, 63.657}, Row{2, 4.303, 9.925}, Row{3, 3.182, 5.841}, Row{4, 2.776, 4.604}, Row{5, 2.571, 4.032}, Row{6, 2.447, 3.707}, Row{8, 2.306, 3.355},
                          Row{10, 2.228, 3.169}, Row{20, 2.086, 2.845}, Row{30, 2.042, 2.750}, Row{INFINITY, 1.960, 2.576}}) {
    INFO("dof " << row.dof);
    CHECK(t_quantile(0.975, row.dof) == Approx(row.t975).margin(5.1e-4));
    CHECK(t_quantile(0.995, row.dof) == Approx(row.t995).margin(5.1e-4));
  }
  for (const double dof : {0.7, 1.0, 2.5, 4.0, 6.0, 9.3, 40.0, 300.0})
    for (const double p : {0.001, 0.025, 0.3, 0.5, 0.9, 0.975, 0.999}) CHECK(t_quantile(p, dof) == Approx(gsl_cdf_tdist_Pinv(p, dof)).epsilon(1e-9).margin(1e-12));
}

TEST_CASE("the straight line has NIST's certified values on Norris") {
  // NIST Statistical Reference Datasets, linear regression, Norris (lower difficulty). Data and certified values typed from memory; exact rational
  // arithmetic on the typed data gives the certified values to all their 15 digits, which confirms both.
  const std::array<std::array<double, 2>, 36> norris{{{0.1, 0.2},     {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1},    {228.1, 226.5}, {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6},
                                                      {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4},     {0.1, 0.6},     {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
                                                      {557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3},     {0.6, 0.3},     {557.6, 556.8}, {339.3, 339.1},
                                                      {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0}, {10.2, 11.1},   {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}}};
  std::vector<double> x, y, one(norris.size(), 1.0);
  for (const auto& row : norris) {
    y.push_back(row[0]);
    x.push_back(row[1]);
  }
  const auto line = straight_line(x, y, one);
  const double intercept = line.level - line.slope * line.middle;
  CHECK(line.slope == Approx(1.00211681802045).epsilon(1e-13));
  CHECK(intercept == Approx(-0.262323073774029).epsilon(1e-11));
  double squares = 0;
  for (std::size_t i = 0; i < x.size(); ++i) squares += std::pow(y[i] - intercept - line.slope * x[i], 2);
  const double s = std::sqrt(squares / 34);
  CHECK(s == Approx(0.884796396144373).epsilon(1e-11));
  CHECK(s * std::sqrt(line.slope_var) == Approx(0.429796848199937e-3).epsilon(1e-11));
  CHECK(s * std::sqrt(line.level_var + line.middle * line.middle * line.slope_var) == Approx(0.232818234301152).epsilon(1e-11));
}

TEST_CASE("the weighted line and its variances are the GNU Scientific Library's") {
  Random random(71);
  for (int k = 0; k < 20; ++k) {
    std::vector<double> t, y, v, w;
    for (int i = 0; i < 3 + k; ++i) {
      t.push_back(i * random.uniform(1, 4));
      y.push_back(random.normal(5, 1));
      v.push_back(random.uniform(0.1, 2));
      w.push_back(1 / v.back());
    }
    double c0, c1, v00, v01, v11, chisq;
    gsl_fit_wlinear(t.data(), 1, w.data(), 1, y.data(), 1, t.size(), &c0, &c1, &v00, &v01, &v11, &chisq);
    const auto line = straight_line(t, y, v);
    CHECK(line.slope == Approx(c1).epsilon(1e-9).margin(1e-12));
    CHECK(line.level - line.slope * line.middle == Approx(c0).epsilon(1e-9));
    CHECK(line.slope_var == Approx(v11).epsilon(1e-9));
    CHECK(line.level_var + line.middle * line.middle * line.slope_var == Approx(v00).epsilon(1e-9));
  }
}

TEST_CASE("rates before and after an event with one level a segment are the GNU Scientific Library's multiple regression") {
  Random random(72);
  for (int k = 0; k < 20; ++k) {
    const int n = 8;
    const double bend = 11;
    std::vector<TrendPoint> points;
    for (int i = 0; i < n; ++i) points.push_back({3.0 * i + random.uniform(0, 1), 300 * std::exp(-0.02 * i + random.normal(0, 0.05)) * (i >= 5 ? 1.3 : 1), random.uniform(0.02, 0.08), i >= 5});
    // The room's slopes have a prior of N(0, 0.5^2 a day): for the library two more rows, slope = 0 with weight 4.
    gsl_matrix* x = gsl_matrix_calloc(n + 2, 4);
    gsl_matrix* cov = gsl_matrix_alloc(4, 4);
    gsl_vector *y = gsl_vector_calloc(n + 2), *w = gsl_vector_calloc(n + 2), *c = gsl_vector_alloc(4);
    for (int i = 0; i < n; ++i) {
      const auto& p = points[i];
      gsl_matrix_set(x, i, 0, p.segment == 0);
      gsl_matrix_set(x, i, 1, p.segment == 1);
      gsl_matrix_set(x, i, 2, std::min(p.day, bend));
      gsl_matrix_set(x, i, 3, std::max(p.day - bend, 0.0));
      gsl_vector_set(y, i, std::log(p.area));
      gsl_vector_set(w, i, 1 / (p.s * p.s + 0.03 * 0.03));
    }
    for (int slope = 0; slope < 2; ++slope) {
      gsl_matrix_set(x, n + slope, 2 + slope, 1);
      gsl_vector_set(w, n + slope, 4);
    }
    double chisq;
    gsl_multifit_linear_workspace* work = gsl_multifit_linear_alloc(n + 2, 4);
    gsl_multifit_wlinear(x, w, y, c, cov, &chisq, work);
    const auto rates = rates_around(points, bend, {{0.03}, {1}});
    CHECK(rates.before.mean() == Approx(gsl_vector_get(c, 2)).epsilon(1e-8).margin(1e-12));
    CHECK(rates.after.mean() == Approx(gsl_vector_get(c, 3)).epsilon(1e-8).margin(1e-12));
    CHECK(rates.before.variance() == Approx(gsl_matrix_get(cov, 2, 2)).epsilon(1e-8));
    CHECK(rates.after.variance() == Approx(gsl_matrix_get(cov, 3, 3)).epsilon(1e-8));
    CHECK(rates.difference.variance() == Approx(gsl_matrix_get(cov, 2, 2) + gsl_matrix_get(cov, 3, 3) - 2 * gsl_matrix_get(cov, 2, 3)).epsilon(1e-8));
    gsl_multifit_linear_free(work);
    gsl_vector_free(y);
    gsl_vector_free(w);
    gsl_vector_free(c);
    gsl_matrix_free(x);
    gsl_matrix_free(cov);
  }
}

TEST_CASE("with every spread unknown the interval of two measures is a t with the prior's six degrees of freedom") {
  // Conjugate normal model: ln ratio with sd sqrt(2) sigma, sigma^2 ~ scaled inverse chi-square(6, 0.10^2), is 0.10 sqrt(2) t(6). The grid over sigma and the
  // chance that either look is wrong (N(0, 0.5^2), 1.25 % each) make it wider, never narrower than the t by more than the grid's 3 %.
  Series series;
  series.looks = {{DateTime::from_day_number(20600), 400, 0, 0, std::nullopt, 0}, {DateTime::from_day_number(20610), 400, 0, 0, std::nullopt, 0}};
  const auto course = follow(series);
  const double half = gsl_cdf_tdist_Pinv(0.975, 6) * 0.10 * std::sqrt(2.0);
  CHECK(std::log1p(course.change_percent->high95 / 100) > 0.97 * half);
  CHECK(std::log1p(course.change_percent->high95 / 100) < 1.25 * half);
}

TEST_CASE("the minimal detectable change is the clinic's 1.96 sqrt 2 SEM") {
  // Landa et al. 2014, Int Wound J 13:619: SEM 6.88 gives 19.07.
  CHECK(minimal_detectable_change(6.88, 6.88) == Approx(19.07).margin(0.005));
}
