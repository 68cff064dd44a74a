// The closed form of thresholds and responses beside the same normal equations solved whole.
#include "core/judge/response_model.h"

#include <gtest/gtest.h>

#include <cmath>
#include <random>
#include <vector>

namespace tachproof {
namespace {

using Matrix = std::vector<std::vector<double>>;

// Cholesky's decomposition: the inverse of a symmetric positive definite matrix, and the logarithm of its
// determinant.
Matrix inverse(Matrix a, double& log_determinant) {
  const std::size_t n = a.size();
  for (std::size_t i = 0; i < n; ++i)
    for (std::size_t k = 0; k <= i; ++k) {
      double sum = a[i][k];
      for (std::size_t m = 0; m < k; ++m) sum -= a[i][m] * a[k][m];
      a[i][k] = i == k ? std::sqrt(sum) : sum / a[k][k];
    }
  log_determinant = 0;
  Matrix out(n, std::vector<double>(n));
  for (std::size_t i = 0; i < n; ++i) log_determinant += 2 * std::log(a[i][i]);
  for (std::size_t column = 0; column < n; ++column) {
    std::vector<double> x(n);
    for (std::size_t i = 0; i < n; ++i) {
      double sum = i == column ? 1 : 0;
      for (std::size_t m = 0; m < i; ++m) sum -= a[i][m] * x[m];
      x[i] = sum / a[i][i];
    }
    for (std::size_t i = n; i-- > 0;) {
      double sum = x[i];
      for (std::size_t m = i + 1; m < n; ++m) sum -= a[m][i] * x[m];
      x[i] = sum / a[i][i];
    }
    for (std::size_t i = 0; i < n; ++i) out[i][column] = x[i];
  }
  return out;
}

struct OneVisit {
  std::size_t boundary, way;
  double v, a, w;
};

PassSums sums_of(const std::vector<OneVisit>& visits, std::size_t boundary, std::size_t way) {
  PassSums out;
  double sum_a = 0, sum_v = 0;
  for (const OneVisit& visit : visits) {
    if (visit.boundary != boundary || visit.way != way) continue;
    ++out.visits;
    out.sum_w += visit.w;
    sum_a += visit.w * visit.a;
    sum_v += visit.w * visit.v;
    out.half_log_w += 0.5 * std::log(visit.w);
  }
  if (out.visits == 0) return out;
  out.mean_a = sum_a / out.sum_w;
  out.mean_v = sum_v / out.sum_w;
  for (const OneVisit& visit : visits) {
    if (visit.boundary != boundary || visit.way != way) continue;
    const double dv = visit.v - out.mean_v, da = visit.a - out.mean_a;
    out.lever += visit.w * dv * dv;
    out.lever_a += visit.w * dv * da;
    out.rest += visit.w * da * da;
  }
  return out;
}

// Unknowns: every T, then M, D, every E, every F.
class Whole {
 public:
  Whole(const std::vector<OneVisit>& visits, std::size_t boundaries, const ResponsePrior& prior)
      : n_(boundaries), size_(5 * n_ + 2) {
    Matrix a(size_, std::vector<double>(size_));
    std::vector<double> g(size_);
    double log_prior = 0, squares = 0;
    const auto known = [&](std::size_t i, double mean, double sd) {
      a[i][i] += 1 / (sd * sd);
      g[i] += mean / (sd * sd);
      squares += mean * mean / (sd * sd);
      log_prior -= std::log(sd);
    };
    known(2 * n_, prior.mean_s, prior.u_s);
    known(2 * n_ + 1, 0, prior.apart_s);
    for (std::size_t b = 0; b < n_; ++b) known(2 * n_ + 2 + b, 0, prior.between_s);
    for (std::size_t way = 0; way < 2 * n_; ++way)
      known(3 * n_ + 2 + way, 0, way == prior.odd_way ? prior.odd_s : prior.own_s);
    for (const OneVisit& visit : visits) {
      std::vector<double> row = response_row(visit.boundary, visit.way);
      for (double& x : row) x *= visit.v;
      row[2 * visit.boundary + visit.way] = 1;
      for (std::size_t i = 0; i < size_; ++i) {
        for (std::size_t k = 0; k < size_; ++k) a[i][k] += visit.w * row[i] * row[k];
        g[i] += visit.w * row[i] * visit.a;
      }
      squares += visit.w * visit.a * visit.a;
      log_prior += 0.5 * std::log(visit.w);
    }
    double log_determinant = 0;
    covariance_ = inverse(a, log_determinant);
    mean_.assign(size_, 0);
    double explained = 0;
    for (std::size_t i = 0; i < size_; ++i) {
      for (std::size_t k = 0; k < size_; ++k) mean_[i] += covariance_[i][k] * g[k];
      explained += mean_[i] * g[i];
    }
    log_likelihood = log_prior - log_determinant / 2 + (explained - squares) / 2;
  }

  double threshold(std::size_t b, std::size_t d) const { return mean_[2 * b + d]; }
  double threshold_var(std::size_t b, std::size_t d) const { return covariance_[2 * b + d][2 * b + d]; }
  double threshold_cov(std::size_t b) const { return covariance_[2 * b][2 * b + 1]; }
  double response(std::size_t b, std::size_t d) const {
    const std::vector<double> row = response_row(b, d);
    double sum = 0;
    for (std::size_t i = 0; i < size_; ++i) sum += row[i] * mean_[i];
    return sum;
  }
  double response_var(std::size_t b, std::size_t d) const {
    const std::vector<double> row = response_row(b, d);
    double sum = 0;
    for (std::size_t i = 0; i < size_; ++i)
      for (std::size_t k = 0; k < size_; ++k) sum += row[i] * covariance_[i][k] * row[k];
    return sum;
  }
  double log_likelihood = 0;

 private:
  std::vector<double> response_row(std::size_t b, std::size_t d) const {
    std::vector<double> row(size_);
    row[2 * n_] = 1;
    row[2 * n_ + 1] = d == 0 ? 0.5 : -0.5;
    row[2 * n_ + 2 + b] = 1;
    row[3 * n_ + 2 + 2 * b + d] = 1;
    return row;
  }

  std::size_t n_, size_;
  Matrix covariance_;
  std::vector<double> mean_;
};

struct Drawn {
  static constexpr std::size_t boundaries = 4;
  std::vector<OneVisit> visits;
  std::vector<BoundaryPasses> passes{boundaries};
};

// Thresholds near 0, responses near 40 ms; `late_way` answers 40 ms later.
Drawn drawn(std::mt19937_64& random, std::size_t late_way = ResponsePrior::no_way) {
  std::normal_distribution<double> normal(0, 1);
  std::uniform_real_distribution<double> uniform(0, 1);
  Drawn out;
  for (std::size_t b = 0; b < Drawn::boundaries; ++b)
    for (std::size_t d = 0; d < 2; ++d) {
      const double sign = d == 0 ? 1 : -1, threshold = 3 * normal(random);
      const double response = 0.040 + (2 * b + d == late_way ? 0.040 : 0);
      for (const double rate : {8 * (1 + uniform(random)), 60.0, 500 * (1 + uniform(random))}) {
        const double v = sign * rate, u = std::hypot(0.1, rate * 0.002);
        out.visits.push_back({b, d, v, threshold + v * response + u * normal(random), 1 / (u * u)});
      }
    }
  for (std::size_t b = 0; b < Drawn::boundaries; ++b)
    for (std::size_t d = 0; d < 2; ++d) out.passes[b].ways[d] = sums_of(out.visits, b, d);
  return out;
}

ResponsePrior prior_of(double between_s, double own_s, std::size_t odd_way = ResponsePrior::no_way) {
  ResponsePrior prior;
  prior.mean_s = 0.060;
  prior.u_s = 0.035;
  prior.apart_s = 0.003;
  prior.between_s = between_s;
  prior.own_s = own_s;
  prior.odd_way = odd_way;
  prior.odd_s = 0.030;
  return prior;
}

TEST(ResponseModel, SaysWhatAllNormalEquationsTogetherSay) {
  std::mt19937_64 random(5);
  for (int trial = 0; trial < 50; ++trial) {
    const Drawn unit = drawn(random);
    for (const ResponsePrior& prior :
         {prior_of(0.004, 0.009), prior_of(0.001, 0.002), prior_of(0.004, 1e-6, 3)}) {
      const ResponseModel model(unit.passes, prior);
      const Whole whole(unit.visits, Drawn::boundaries, prior);
      for (std::size_t b = 0; b < Drawn::boundaries; ++b) {
        const BoundaryTold told = model.told(b);
        for (std::size_t d = 0; d < 2; ++d) {
          EXPECT_NEAR(told.threshold[d], whole.threshold(b, d), 1e-6);
          EXPECT_NEAR(told.threshold_var[d], whole.threshold_var(b, d), 1e-6 * told.threshold_var[d]);
          EXPECT_NEAR(told.response[d], whole.response(b, d), 1e-8);
          EXPECT_NEAR(told.response_var[d], whole.response_var(b, d), 1e-6 * told.response_var[d]);
        }
        EXPECT_NEAR(told.threshold_cov, whole.threshold_cov(b), 1e-6 * told.threshold_var[0]);
      }
    }
  }
}

TEST(ResponseModel, WeighsAssumptionsAsTheyDo) {
  std::mt19937_64 random(6);
  for (int trial = 0; trial < 50; ++trial) {
    const Drawn unit = drawn(random);
    const ResponsePrior a = prior_of(0.004, 0.009), b = prior_of(0.012, 1e-5), c = prior_of(0.004, 1e-5, 6);
    const auto model = [&](const ResponsePrior& prior) {
      return ResponseModel(unit.passes, prior).log_likelihood();
    };
    const auto whole = [&](const ResponsePrior& prior) {
      return Whole(unit.visits, Drawn::boundaries, prior).log_likelihood;
    };
    EXPECT_NEAR(model(a) - model(b), whole(a) - whole(b), 1e-5);
    EXPECT_NEAR(model(c) - model(b), whole(c) - whole(b), 1e-5);
  }
}

TEST(ResponseModel, FindsTheWayThatAnswersLate) {
  std::mt19937_64 random(7);
  for (std::size_t way = 0; way < 2 * Drawn::boundaries; ++way) {
    const Drawn unit = drawn(random, way);
    EXPECT_EQ(ResponseModel(unit.passes, prior_of(0.004, 0)).oddest_way(), way);
    // With it left to itself its threshold is near where it is; all others keep one response.
    const double odd = ResponseModel(unit.passes, prior_of(0.004, 0, way)).log_likelihood();
    EXPECT_GT(odd, ResponseModel(unit.passes, prior_of(0.004, 0)).log_likelihood() + 10);
  }
}

TEST(ResponseModel, CallsNoWayOddWhereThereAreFew) {
  std::mt19937_64 random(8);
  Drawn unit = drawn(random, 0);
  unit.passes.resize(2);
  EXPECT_EQ(ResponseModel(unit.passes, prior_of(0.004, 0)).oddest_way(), ResponsePrior::no_way);
}

}  // namespace
}  // namespace tachproof
