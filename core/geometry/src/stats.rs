//! The few distributions that the methods stand on, over statrs and libm.
//!
//! The functions are total: an argument outside the domain gives NaN, which callers refuse with
//! their own words. The values are checked against scipy in `tests/`.

use statrs::distribution::{ChiSquared, Continuous, ContinuousCDF, Normal, StudentsT};

/// The standard normal distribution function.
///
/// ```
/// use datumtrail_geometry::stats::phi;
/// assert!((phi(1.959_963_984_540_054) - 0.975).abs() < 1e-12);
/// ```
pub fn phi(z: f64) -> f64 {
    // erfc keeps full relative precision in the lower tail, where 1 - erf would cancel.
    0.5 * libm::erfc(-z / std::f64::consts::SQRT_2)
}

/// The quantile of the standard normal, for 0 < p < 1.
pub fn phi_inverse(p: f64) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    let start = Normal::standard().inverse_cdf(p);
    // One Newton step brings the library's quantile to full precision.
    start - (phi(start) - p) / Normal::standard().pdf(start)
}

/// The probability that chi-square with `dof` degrees of freedom exceeds `x`.
pub fn chi2_exceeds(x: f64, dof: usize) -> f64 {
    match ChiSquared::new(dof as f64) {
        Ok(d) if x >= 0.0 => d.sf(x),
        _ => f64::NAN,
    }
}

/// The value that chi-square with `dof` degrees of freedom exceeds with probability `alpha`.
pub fn chi2_critical(alpha: f64, dof: usize) -> f64 {
    if !(alpha > 0.0 && alpha < 1.0) {
        return f64::NAN;
    }
    let Ok(d) = ChiSquared::new(dof as f64) else {
        return f64::NAN;
    };
    let start = d.inverse_cdf(1.0 - alpha);
    // Newton on the upper tail: the library's quantile stops early.
    let mut x = start;
    for _ in 0..20 {
        let step = (d.sf(x) - alpha) / d.pdf(x);
        if !step.is_finite() {
            return start;
        }
        x = (x + step).max(x / 2.0);
        if step.abs() < 1e-12 * x {
            break;
        }
    }
    x
}

/// The probability that noncentral chi-square with `dof` degrees of freedom and non-centrality
/// `lambda` exceeds `x`: the power of a chi-square test at `x`.
///
/// A Poisson mixture of central tails (Johnson, Kotz and Balakrishnan, "Continuous Univariate
/// Distributions", vol. 2, chapter 29), summed until the weights left are below rounding. NaN for
/// `lambda` above 1000, where the first weight would be lost.
pub fn noncentral_chi2_exceeds(x: f64, dof: usize, lambda: f64) -> f64 {
    if !(x >= 0.0 && (0.0..=1000.0).contains(&lambda) && dof > 0) {
        return f64::NAN;
    }
    let half = lambda / 2.0;
    let mut weight = (-half).exp();
    let mut tail = chi2_exceeds(x, dof);
    // Q(a + 1, y) = Q(a, y) + y^a e^-y / Gamma(a + 1), so one tail leads to the next.
    let (a, y) = (dof as f64 / 2.0, x / 2.0);
    let mut step = if y > 0.0 {
        (a * y.ln() - y - libm::lgamma(a + 1.0)).exp()
    } else {
        0.0
    };
    let mut sum = 0.0;
    for j in 0..10_000 {
        sum += weight * tail;
        if weight < 1e-18 && f64::from(j) > half {
            break;
        }
        let next = f64::from(j) + 1.0;
        weight *= half / next;
        tail += step;
        step *= y / (a + next);
    }
    sum.min(1.0)
}

/// The non-centrality at which a chi-square test of level `alpha` with `dof` degrees of freedom
/// fails with probability `power`: what Baarda's method calls lambda_0.
///
/// ```
/// use datumtrail_geometry::stats::noncentrality;
/// // One test in one direction at 5 % and 80 %: (1.960 + 0.842)^2.
/// assert!((noncentrality(0.05, 1, 0.8) - 7.849).abs() < 1e-3);
/// ```
pub fn noncentrality(alpha: f64, dof: usize, power: f64) -> f64 {
    let critical = chi2_critical(alpha, dof);
    if !(critical.is_finite() && power > alpha && power < 1.0) {
        return f64::NAN;
    }
    let excess = |lambda: f64| noncentral_chi2_exceeds(critical, dof, lambda) - power;
    let (mut low, mut high) = (0.0, 1.0);
    while excess(high) < 0.0 {
        low = high;
        high *= 2.0;
        if high > 1000.0 {
            return f64::NAN;
        }
    }
    // The power rises with lambda; bisection cannot fail, and 60 halvings reach rounding.
    for _ in 0..60 {
        let middle = (low + high) / 2.0;
        if excess(middle) < 0.0 {
            low = middle;
        } else {
            high = middle;
        }
    }
    (low + high) / 2.0
}

/// Student's t distribution function with `dof` degrees of freedom.
pub fn student_t(t: f64, dof: usize) -> f64 {
    match StudentsT::new(0.0, 1.0, dof as f64) {
        Ok(d) => d.cdf(t),
        Err(_) => f64::NAN,
    }
}

/// The quantile of Student's t with `dof` degrees of freedom, for 0 < p < 1.
///
/// ```
/// use datumtrail_geometry::stats::student_t_inverse;
/// assert!((student_t_inverse(0.975, 6) - 2.446_911_851_144_979).abs() < 1e-10);
/// ```
pub fn student_t_inverse(p: f64, dof: usize) -> f64 {
    if !(p > 0.0 && p < 1.0) {
        return f64::NAN;
    }
    let Ok(d) = StudentsT::new(0.0, 1.0, dof as f64) else {
        return f64::NAN;
    };
    // The library's quantile stops early; Newton on its distribution function finishes.
    let mut t = d.inverse_cdf(p);
    for _ in 0..4 {
        let step = (d.cdf(t) - p) / d.pdf(t);
        if !step.is_finite() {
            break;
        }
        t -= step;
    }
    t
}
