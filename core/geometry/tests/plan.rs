//! Plans against the checks they foretell.

mod vehicle;

use datumtrail_geometry::check::{Request, check};
use datumtrail_geometry::frame::{Axis, Mat3};
use datumtrail_geometry::plan::{PlanRequest, plan};
use vehicle::{Instrument, names, published_sheet, readings, six_references};

#[test]
fn a_plan_foretells_the_uncertainties_of_the_check() {
    let targets = published_sheet(1.5);
    let references = six_references();
    let request = PlanRequest {
        targets: &targets,
        references: &references,
        reading_covariance_mm2: Mat3::identity() * 0.25,
        build_spread_mm: None,
    };
    let plan = plan(&request).expect("a plan");
    let survey = readings(&targets, &Instrument::somewhere(), Some(0.5), |_| {
        Default::default()
    });
    let answer = check(&Request::new(&survey, &targets, &references)).expect("an answer");
    for (p, q) in plan.points.iter().zip(&answer.points) {
        assert_eq!((&p.point, p.is_reference), (&q.point, q.is_reference));
        for axis in Axis::ALL {
            let (a, b) = (p.axis(axis).u_mm.expect("u"), q.axis(axis).u_mm.expect("u"));
            assert!((a - b).abs() < 1e-9);
            assert_eq!(p.axis(axis).can_decide, Some(a <= 1.5 / 1.959_964));
        }
    }
    let (foretold, found) = (
        plan.hidden.expect("stated"),
        answer.setup.hidden.expect("stated"),
    );
    assert_eq!(foretold.to_string(), found.to_string());
    assert_eq!(plan.references.len(), 6);
    assert!(plan.references.iter().all(|r| {
        let worst = r.worst_mm.expect("bounded");
        r.smallest_detectable_mm
            .iter()
            .all(|mm| mm.is_some_and(|mm| mm <= worst + 1e-9))
    }));
}

#[test]
fn the_instrument_that_could() {
    let targets = published_sheet(1.5);
    let references = six_references();
    let with = |u: f64| PlanRequest {
        targets: &targets,
        references: &references,
        reading_covariance_mm2: Mat3::identity() * u * u,
        build_spread_mm: None,
    };
    let u = plan(&with(1.0))
        .expect("a plan")
        .instrument_u_mm
        .expect("some instrument");
    let undecided = |u: f64| {
        let plan = plan(&with(u)).expect("a plan");
        let others = plan.points.iter().filter(|p| !p.is_reference);
        others
            .filter(|p| {
                Axis::ALL
                    .iter()
                    .any(|&a| p.axis(a).can_decide == Some(false))
            })
            .count()
    };
    assert_eq!(undecided(u), 0);
    assert!(undecided(u * 1.002) > 0);

    // A print so coarse that no instrument could.
    let coarse: Vec<_> = targets
        .iter()
        .map(|t| datumtrail_geometry::check::Target {
            print_covariance_mm2: Mat3::identity() * 4.0,
            ..t.clone()
        })
        .collect();
    let request = PlanRequest {
        targets: &coarse,
        ..with(0.5)
    };
    assert_eq!(plan(&request).expect("a plan").instrument_u_mm, None);
}

#[test]
fn three_references_are_warned_of() {
    let targets = published_sheet(1.5);
    let references = names(&["A", "A'", "B"]);
    let request = PlanRequest {
        targets: &targets,
        references: &references,
        reading_covariance_mm2: Mat3::identity() * 0.25,
        build_spread_mm: None,
    };
    let plan = plan(&request).expect("a plan");
    assert!(plan.references.iter().all(|r| r.worst_mm.is_none()));
    let said: Vec<String> = plan.warnings.iter().map(ToString::to_string).collect();
    assert!(said.iter().any(|w| w.contains("Weak geometry")), "{said:?}");
    assert!(
        serde_json::to_value(&plan).expect("JSON")["points"][0]["length"]["u_needed_mm"]
            .is_number()
    );
}
