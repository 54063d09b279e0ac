//! A point from its distances to known points, in closed form: the first position of a descent.
//!
//! Three spheres meet in two points, mirrored in the plane of their centres. With ex, ey, ez an
//! orthonormal frame at the first centre, the second at distance d along ex and the third at
//! (i, j, 0):
//!
//! x = (r1^2 - r2^2 + d^2) / 2d,  y = (r1^2 - r3^2 + i^2 + j^2) / 2j - (i / j) x,
//! z = +-sqrt(r1^2 - x^2 - y^2)
//!
//! This is elementary geometry (for example the Wikipedia article "True-range multilateration",
//! three Cartesian dimensions). Measured distances miss each other by their errors, so z^2 may
//! come out slightly negative; both answers then lie in the plane. Checked against PyGeodesy's
//! `trilaterate3d2` in `tests/`.

use crate::frame::Vec3;

/// The two points at these distances from the three centres, the one on the side of
/// (c2 - c1) x (c3 - c1) first. None where the centres are collinear (the sine of the angle
/// between them below 1e-6) or a number is not finite. Millimetres.
///
/// ```
/// use datumtrail_geometry::frame::Vec3;
/// use datumtrail_geometry::network::three_spheres;
///
/// let centres = [Vec3::zeros(), Vec3::new(800.0, 0.0, 0.0), Vec3::new(0.0, 600.0, 0.0)];
/// let at = Vec3::new(300.0, 200.0, 90.0);
/// let [up, down] = three_spheres(centres, centres.map(|c| (at - c).norm())).unwrap();
/// assert!((up - at).norm() < 1e-9);
/// assert!((down - Vec3::new(300.0, 200.0, -90.0)).norm() < 1e-9);
/// ```
pub fn three_spheres(centres: [Vec3; 3], radii: [f64; 3]) -> Option<[Vec3; 2]> {
    let [c1, c2, c3] = centres;
    let [r1, r2, r3] = radii;
    let d = (c2 - c1).norm();
    let reach = (c3 - c1).norm();
    let ex = (c2 - c1).try_normalize(1e-9)?;
    let i = ex.dot(&(c3 - c1));
    let aside = c3 - c1 - ex * i;
    let j = aside.norm();
    let well_spread = j > 1e-6 * reach;
    if !well_spread || !radii.iter().all(|r| r.is_finite()) {
        return None;
    }
    let ey = aside / j;
    let ez = ex.cross(&ey);
    let x = (r1 * r1 - r2 * r2 + d * d) / (2.0 * d);
    let y = (r1 * r1 - r3 * r3 + i * i + j * j) / (2.0 * j) - i / j * x;
    let z = (r1 * r1 - x * x - y * y).max(0.0).sqrt();
    let foot = c1 + ex * x + ey * y;
    let answers = [foot + ez * z, foot - ez * z];
    answers
        .iter()
        .all(|p| p.iter().all(|c| c.is_finite()))
        .then_some(answers)
}

/// The two points in the plane z = `height` at these level distances from two centres; where the
/// circles miss each other, twice the point between them.
pub(super) fn two_circles(centres: [Vec3; 2], radii: [f64; 2], height: f64) -> Option<[Vec3; 2]> {
    let [c1, c2] = centres.map(|c| Vec3::new(c.x, c.y, height));
    let [r1, r2] = radii;
    let d = (c2 - c1).norm();
    let ex = (c2 - c1).try_normalize(1e-9)?;
    let ey = Vec3::new(-ex.y, ex.x, 0.0);
    let x = (r1 * r1 - r2 * r2 + d * d) / (2.0 * d);
    let y = (r1 * r1 - x * x).max(0.0).sqrt();
    Some([c1 + ex * x + ey * y, c1 + ex * x - ey * y])
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn both_answers_have_the_distances(
            c in prop::array::uniform9(-2000.0..2000.0f64),
            p in prop::array::uniform3(-2000.0..2000.0f64),
        ) {
            let centres = [0, 3, 6].map(|i| Vec3::new(c[i], c[i + 1], c[i + 2]));
            let area = (centres[1] - centres[0]).cross(&(centres[2] - centres[0])).norm();
            prop_assume!(area > 1e4);
            let at = Vec3::new(p[0], p[1], p[2]);
            let radii = centres.map(|c| (at - c).norm());
            let answers = three_spheres(centres, radii).expect("centres are spread");
            let nearest = answers.iter().map(|a| (a - at).norm()).fold(f64::INFINITY, f64::min);
            // z is the root of a difference: its error grows as it nears the plane
            prop_assert!(nearest < 1e-2, "{nearest}");
            for answer in answers {
                for (c, r) in centres.iter().zip(radii) {
                    prop_assert!(((answer - c).norm() - r).abs() < 1e-5);
                }
            }
        }
    }

    #[test]
    fn collinear_centres_are_refused() {
        let line = [0.0, 1.0, 2.0].map(|x| Vec3::new(x, 2.0 * x, 0.0));
        assert_eq!(three_spheres(line, [1.0; 3]), None);
        assert_eq!(three_spheres([Vec3::zeros(); 3], [1.0; 3]), None);
    }

    #[test]
    fn circles_meet_on_both_sides_of_the_line() {
        let centres = [Vec3::zeros(), Vec3::new(6.0, 0.0, 50.0)];
        let [left, right] = two_circles(centres, [5.0, 5.0], 7.0).expect("two centres");
        assert!((left - Vec3::new(3.0, 4.0, 7.0)).norm() < 1e-12);
        assert!((right - Vec3::new(3.0, -4.0, 7.0)).norm() < 1e-12);
    }
}
