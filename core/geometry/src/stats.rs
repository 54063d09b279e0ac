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
