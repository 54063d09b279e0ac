//! The network as the caller states it: points, observations, and what is refused.

use crate::frame::{Mat3, Side, Vec3};

use super::quantity::Quantity;

/// What is known about a point's position beforehand.
#[derive(Clone, Debug, PartialEq)]
pub enum Place {
    /// Nothing: the figures must tell.
    Unknown,
    /// A position to start from and to lay a free network onto, such as the sheet's. It adds no
    /// weight: the figures alone decide the shape.
    About(Vec3),
    /// A position that holds the network, with its covariance in square millimetres. A covariance
    /// of zero holds it rigidly.
    Known { position: Vec3, covariance: Mat3 },
}

/// A named point of the network.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    /// Shown to people; not interpreted.
    pub name: String,
    /// Helps to find a first position where there is none; no weight in the result.
    pub side: Option<Side>,
    /// What is known beforehand.
    pub place: Place,
}

impl Point {
    /// A point of which nothing but the name is known.
    pub fn new(name: impl Into<String>) -> Point {
        Point {
            name: name.into(),
            side: None,
            place: Place::Unknown,
        }
    }

    /// The side of the vehicle that it is on.
    pub fn on(mut self, side: Side) -> Point {
        self.side = Some(side);
        self
    }

    /// A position to start from, in millimetres.
    pub fn about(mut self, position: Vec3) -> Point {
        self.place = Place::About(position);
        self
    }

    /// A position that holds the network, with one standard uncertainty for every axis; zero holds
    /// it rigidly.
    pub fn known(mut self, position: Vec3, u_mm: f64) -> Point {
        let covariance = Mat3::identity() * (u_mm * u_mm);
        self.place = Place::Known {
            position,
            covariance,
        };
        self
    }

    /// The position stated beforehand, if any.
    pub fn stated(&self) -> Option<Vec3> {
        match self.place {
            Place::Unknown => None,
            Place::About(position) | Place::Known { position, .. } => Some(position),
        }
    }

    pub(super) fn is_rigid(&self) -> bool {
        matches!(self.place, Place::Known { covariance, .. } if covariance == Mat3::zeros())
    }
}

/// One figure: what it is, its value and its standard uncertainty, in millimetres.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Observation {
    pub quantity: Quantity,
    pub value_mm: f64,
    pub u_mm: f64,
}

impl Observation {
    /// A reading with a standard uncertainty.
    pub fn new(quantity: Quantity, value_mm: f64, u_mm: f64) -> Observation {
        Observation {
            quantity,
            value_mm,
            u_mm,
        }
    }

    /// A printed figure, rounded to `step_mm`: u = step / sqrt(12), the rectangular distribution
    /// of GUM 4.3.7.
    pub fn printed(quantity: Quantity, value_mm: f64, step_mm: f64) -> Observation {
        Observation::new(quantity, value_mm, rounding_u(step_mm))
    }
}

/// The standard uncertainty of a figure rounded to `step_mm` (GUM 4.3.7: half the step over
/// sqrt(3)).
pub fn rounding_u(step_mm: f64) -> f64 {
    step_mm / 12f64.sqrt()
}

/// How to adjust. `Options::default()` is what screens use.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// The chance that a network without blunders is doubted anywhere: 5 %.
    pub alpha: f64,
    /// The chance with which the smallest detectable blunder is found: 80 %.
    pub power: f64,
    /// Whether to leave out the figures that the others contradict.
    pub leave_out_blunders: bool,
    /// The points, by their places, onto whose stated positions a free network is laid (inner
    /// constraints over these points). Empty: every point with a stated position, or all points.
    pub laid_onto: Vec<usize>,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            alpha: 0.05,
            power: 0.80,
            leave_out_blunders: true,
            laid_onto: Vec::new(),
        }
    }
}

/// Why a network is refused or cannot be solved.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum NetworkError {
    #[error("the network has no {what}; give at least one")]
    Empty { what: &'static str },
    #[error(
        "the network has {count} {what}, {most} at most are adjusted together; leave out what is \
         not needed"
    )]
    TooMany {
        what: &'static str,
        count: usize,
        most: usize,
    },
    #[error("figure {index} names point {place}, but there are only {count} points")]
    NoSuchPoint {
        index: usize,
        place: usize,
        count: usize,
    },
    #[error("figure {index} runs from point {name} to itself; name two different points")]
    SamePoint { index: usize, name: String },
    #[error(
        "figure {index} ({words}, {value_mm} mm) is not a usable value; \
         give a number below a thousand kilometres, not negative for a distance"
    )]
    BadValue {
        index: usize,
        words: &'static str,
        value_mm: f64,
    },
    #[error(
        "the standard uncertainty of figure {index} is {u_mm} mm; \
         give a number between 0.0001 mm and a kilometre"
    )]
    BadUncertainty { index: usize, u_mm: f64 },
    #[error(
        "the stated position of point {name} is not a usable number, or a thousand kilometres \
         away; correct or remove it"
    )]
    BadPosition { name: String },
    #[error(
        "the covariance of known point {name} is not a covariance; \
         give a symmetric positive definite matrix with standard uncertainties between \
         0.0001 mm and a kilometre, or zero to hold the point rigidly"
    )]
    BadCovariance { name: String },
    #[error("{what} is {value}; give a number between 0 and 1")]
    BadOption { what: &'static str, value: f64 },
    #[error("points {names} share no figure with the rest; measure from one of them to the others")]
    Apart { names: String },
    #[error(
        "the network cannot be laid onto the chosen points: they leave {freedoms} of its freedoms \
         open; choose more points, or points farther apart"
    )]
    CannotLay { freedoms: usize },
    #[error(
        "the positions did not settle after {steps} steps (last step {last_mm:.3} mm); \
         the figures may contradict each other grossly: check units and point names"
    )]
    NotSettled { steps: usize, last_mm: f64 },
}

/// Points and the figures between them, checked.
#[derive(Clone, Debug)]
pub struct Network {
    points: Vec<Point>,
    observations: Vec<Observation>,
}

impl Network {
    /// Checks what the caller states. Nothing is computed yet.
    ///
    /// # Errors
    /// The first thing that is wrong, with its place in the list: see [`NetworkError`].
    pub fn new(
        points: Vec<Point>,
        observations: Vec<Observation>,
    ) -> Result<Network, NetworkError> {
        if points.is_empty() {
            return Err(NetworkError::Empty { what: "points" });
        }
        if observations.is_empty() {
            return Err(NetworkError::Empty { what: "figures" });
        }
        for (what, count, most) in [
            ("points", points.len(), MOST_POINTS),
            ("figures", observations.len(), MOST_FIGURES),
        ] {
            if count > most {
                return Err(NetworkError::TooMany { what, count, most });
            }
        }
        points.iter().try_for_each(check_point)?;
        for (index, observation) in observations.iter().enumerate() {
            check_observation(index, observation, &points)?;
        }
        Ok(Network {
            points,
            observations,
        })
    }

    /// The points, in the caller's order.
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// The figures, in the caller's order.
    pub fn observations(&self) -> &[Observation] {
        &self.observations
    }
}

/// The most points a network may have. The covariance of 200 points takes 3 MB, their
/// eigenvectors some tenths of a second; an underbody has some dozens.
pub const MOST_POINTS: usize = 200;
/// The most figures a network may have.
pub const MOST_FIGURES: usize = 5_000;

/// Far beyond any vehicle, and far below where squares lose their digits.
const LARGEST_MM: f64 = 1e9;
/// No tram gauge is better; much smaller ones beside real ones would drown them in rounding.
const LEAST_U_MM: f64 = 1e-4;
const MOST_U_MM: f64 = 1e6;

fn is_usable(mm: f64) -> bool {
    mm.abs() < LARGEST_MM
}

fn check_point(point: &Point) -> Result<(), NetworkError> {
    if let Some(position) = point.stated()
        && !position.iter().all(|c| is_usable(*c))
    {
        return Err(NetworkError::BadPosition {
            name: point.name.clone(),
        });
    }
    if let Place::Known { covariance, .. } = point.place
        && covariance != Mat3::zeros()
    {
        let size = covariance.abs().max();
        let symmetric = (covariance - covariance.transpose()).abs().max() <= 1e-9 * size;
        let range = LEAST_U_MM.powi(2)..=MOST_U_MM.powi(2);
        let in_range = covariance.diagonal().iter().all(|v| range.contains(v));
        if !symmetric || !in_range || covariance.cholesky().is_none() {
            return Err(NetworkError::BadCovariance {
                name: point.name.clone(),
            });
        }
    }
    Ok(())
}

fn check_observation(
    index: usize,
    observation: &Observation,
    points: &[Point],
) -> Result<(), NetworkError> {
    let (a, b) = observation.quantity.points();
    let count = points.len();
    for place in std::iter::once(a).chain(b) {
        if place >= count {
            return Err(NetworkError::NoSuchPoint {
                index,
                place,
                count,
            });
        }
    }
    if Some(a) == b {
        return Err(NetworkError::SamePoint {
            index,
            name: points[a].name.clone(),
        });
    }
    let value = observation.value_mm;
    if !is_usable(value) || (observation.quantity.is_unsigned() && value < 0.0) {
        return Err(NetworkError::BadValue {
            index,
            words: observation.quantity.words(),
            value_mm: value,
        });
    }
    if !(LEAST_U_MM..=MOST_U_MM).contains(&observation.u_mm) {
        return Err(NetworkError::BadUncertainty {
            index,
            u_mm: observation.u_mm,
        });
    }
    Ok(())
}
