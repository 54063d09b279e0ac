//! The adjustment: from a stated network to its [`Solution`].

mod located;
mod round;
mod search;

use super::model::{Network, NetworkError, Options};
use super::solution::Solution;
use super::start::first_positions;
use crate::frame::Vec3;
use search::Search;

impl Network {
    /// Solves for the positions, judges every figure, and leaves out what the others contradict.
    ///
    /// Least squares as in `settle.rs`, covariance and open motions as in `spectrum.rs`, tests as
    /// in `judge.rs`. Contradicting figures leave one at a
    /// time, the largest first, and the rest is adjusted again; where one does not explain all, a
    /// descent that wrong figures cannot pull is tried as well (`adjust/search.rs`).
    ///
    /// Millimetres throughout. With 60 points and 400 distances: about 25 ms, with one wrong figure
    /// 35 ms, with several some 80 ms (processor time, release build).
    ///
    /// # Errors
    /// [`NetworkError::BadOption`], [`NetworkError::Apart`] where first positions cannot be found,
    /// [`NetworkError::CannotLay`], [`NetworkError::NotSettled`].
    ///
    /// ```
    /// use datumtrail_geometry::frame::{Axis, Vec3};
    /// use datumtrail_geometry::network::{Network, Observation, Options, Point, Quantity};
    ///
    /// // Three points held, one found from its distances to them and one more to check them.
    /// let held = [(0.0, -400.0, 0.0), (0.0, 400.0, 0.0), (900.0, -350.0, 50.0), (900.0, 350.0, 300.0)];
    /// let truth = Vec3::new(500.0, 120.0, -200.0);
    /// let mut points: Vec<Point> = (held.iter().zip(["A", "B", "C", "D"]))
    ///     .map(|(&(x, y, z), name)| Point::new(name).known(Vec3::new(x, y, z), 0.0))
    ///     .collect();
    /// points.push(Point::new("P"));
    /// let readings = (0..4).map(|from| {
    ///     let (x, y, z) = held[from];
    ///     let distance = (truth - Vec3::new(x, y, z)).norm();
    ///     Observation::new(Quantity::TrueDistance { from, to: 4 }, distance, 0.5)
    /// });
    /// let network = Network::new(points, readings.collect()).unwrap();
    /// let solution = network.adjust(&Options::default()).unwrap();
    /// let p = &solution.points[4];
    /// assert!((p.position - truth).norm() < 1e-6);
    /// assert!(p.u_mm(Axis::Length).unwrap() < 1.0);
    /// assert_eq!(solution.fit.dof, 1);
    /// ```
    pub fn adjust(&self, options: &Options) -> Result<Solution, NetworkError> {
        check(options, self)?;
        let stated: Vec<Option<Vec3>> = self.points().iter().map(|p| p.stated()).collect();
        let onto = laid_onto(options, &stated);
        let start = first_positions(self)?;
        let mut search = Search::new(self, start.clone(), options.alpha)?;
        if options.leave_out_blunders {
            search.leave_out(start)?;
        } else {
            search.only_record();
        }
        search.finish(&onto, options.power)
    }
}

fn check(options: &Options, network: &Network) -> Result<(), NetworkError> {
    for (what, value) in [("alpha", options.alpha), ("power", options.power)] {
        if !(value > 0.0 && value < 1.0) {
            return Err(NetworkError::BadOption { what, value });
        }
    }
    let count = network.points().len();
    match options.laid_onto.iter().find(|&&place| place >= count) {
        Some(&place) => Err(NetworkError::NoSuchPoint {
            index: 0,
            place,
            count,
        }),
        None => Ok(()),
    }
}

/// Which points a free network is laid onto.
struct Onto {
    places: Vec<usize>,
    stated: Vec<(usize, Vec3)>,
    asked: bool,
}

fn laid_onto(options: &Options, stated: &[Option<Vec3>]) -> Onto {
    let asked = !options.laid_onto.is_empty();
    let with_position: Vec<usize> = (0..stated.len()).filter(|&p| stated[p].is_some()).collect();
    let places = if asked {
        options.laid_onto.clone()
    } else if with_position.is_empty() {
        (0..stated.len()).collect()
    } else {
        with_position
    };
    let stated = (places.iter())
        .filter_map(|&p| stated[p].map(|position| (p, position)))
        .collect();
    Onto {
        places,
        stated,
        asked,
    }
}
