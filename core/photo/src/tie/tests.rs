use super::*;
use proptest::prelude::*;

/// Seconds from a fixed morning.
fn at(s: i64) -> Timestamp {
    Timestamp::from_second(1_772_611_200 + s).unwrap()
}

fn span(id: &str, opened: i64, closed: impl Into<Option<i64>>) -> StageSpan {
    StageSpan::new(id, at(opened), closed.into().map(at))
}

fn known(s: i64, u_s: f64) -> TrueTime {
    TrueTime::At(Moment {
        at: at(s),
        u_s: Some(u_s),
    })
}

fn tied(time: &TrueTime, stages: &[StageSpan]) -> Tie {
    tie(time, stages, None, UNCHECKED_CLOCK_U_S)
}

fn borderline(earlier: &str, later: &str, likelier: &str, border_s: f64) -> Tie {
    let side = |s: &str| (!s.is_empty()).then(|| s.to_owned());
    Tie::Borderline {
        earlier: side(earlier),
        later: side(later),
        likelier: likelier.to_owned(),
        border_s,
    }
}

fn certain(stage: &str, border_s: f64) -> Tie {
    Tie::Certain {
        stage: stage.to_owned(),
        border_s: Some(border_s),
    }
}

#[test]
fn certain_and_borderline_on_either_side() {
    let stages = [span("a", 0, 1000), span("b", 1000, None)];
    assert_eq!(tied(&known(500, 10.0), &stages), certain("a", 500.0));
    assert_eq!(tied(&known(979, 10.0), &stages), certain("a", 21.0));
    assert_eq!(
        tied(&known(981, 10.0), &stages),
        borderline("a", "b", "a", 19.0)
    );
    assert_eq!(
        tied(&known(1000, 10.0), &stages),
        borderline("a", "b", "b", 0.0)
    );
    assert_eq!(
        tied(&known(1019, 10.0), &stages),
        borderline("a", "b", "b", 19.0)
    );
    assert_eq!(tied(&known(1021, 10.0), &stages), certain("b", 21.0));
    // A perfect clock needs no margin: the border itself belongs to the later stage.
    assert_eq!(tied(&known(1000, 0.0), &stages), certain("b", 0.0));
    assert_eq!(tied(&known(999, 0.0), &stages), certain("a", 1.0));
}

#[test]
fn an_unchecked_clock_uses_the_assumed_uncertainty() {
    let stages = [span("a", 0, 1000), span("b", 1000, None)];
    let unchecked = |s| {
        TrueTime::At(Moment {
            at: at(s),
            u_s: None,
        })
    };
    assert_eq!(tied(&unchecked(500), &stages), certain("a", 500.0));
    assert_eq!(
        tied(&unchecked(800), &stages),
        borderline("a", "b", "a", 200.0)
    );
    assert_eq!(
        tie(&unchecked(800), &stages, None, 10.0),
        certain("a", 200.0)
    );
    // What is no uncertainty does not make anything certain.
    for nonsense in [f64::NAN, -1.0, f64::INFINITY] {
        assert_eq!(
            tie(&unchecked(800), &stages, None, nonsense),
            borderline("a", "b", "a", 200.0)
        );
    }
}

#[test]
fn the_outer_borders_have_nothing_on_the_other_side() {
    let stages = [span("a", 0, 1000)];
    assert_eq!(
        tied(&known(5, 10.0), &stages),
        borderline("", "a", "a", 5.0)
    );
    assert_eq!(
        tied(&known(-5, 10.0), &stages),
        borderline("", "a", "a", 5.0)
    );
    assert_eq!(
        tied(&known(995, 10.0), &stages),
        borderline("a", "", "a", 5.0)
    );
    assert_eq!(
        tied(&known(1005, 10.0), &stages),
        borderline("a", "", "a", 5.0)
    );
    assert_eq!(
        tied(&known(-50, 10.0), &stages),
        Tie::NoneOpen {
            last_closed: None,
            next_opened: Some("a".into())
        }
    );
    assert_eq!(
        tied(&known(1050, 10.0), &stages),
        Tie::NoneOpen {
            last_closed: Some("a".into()),
            next_opened: None
        }
    );
    assert_eq!(
        tied(&known(0, 10.0), &[]),
        Tie::NoneOpen {
            last_closed: None,
            next_opened: None
        }
    );
}

#[test]
fn a_gap_within_the_window_is_bridged() {
    let stages = [span("a", 0, 1000), span("b", 1010, None)];
    assert_eq!(
        tied(&known(995, 10.0), &stages),
        borderline("a", "b", "a", 5.0)
    );
    assert_eq!(
        tied(&known(1002, 10.0), &stages),
        borderline("a", "b", "a", 2.0)
    );
    assert_eq!(
        tied(&known(1008, 10.0), &stages),
        borderline("a", "b", "b", 2.0)
    );
    assert_eq!(
        tied(&known(1015, 10.0), &stages),
        borderline("a", "b", "b", 5.0)
    );
    // Too far to reach over: only the near side is named.
    assert_eq!(
        tied(&known(995, 5.0), &stages),
        borderline("a", "", "a", 5.0)
    );
    // A long gap: none open, with its neighbours.
    let far = [span("a", 0, 1000), span("b", 5000, None)];
    assert_eq!(
        tied(&known(3000, 10.0), &far),
        Tie::NoneOpen {
            last_closed: Some("a".into()),
            next_opened: Some("b".into())
        }
    );
}

#[test]
fn several_open_are_listed_and_an_overlap_nearby_is_a_border() {
    let stages = [span("b", 900, None), span("a", 0, 1000)];
    assert_eq!(
        tied(&known(950, 1.0), &stages),
        Tie::SeveralOpen {
            stages: vec!["a".into(), "b".into()]
        }
    );
    assert_eq!(
        tied(&known(895, 10.0), &stages),
        borderline("a", "b", "a", 5.0)
    );
    assert_eq!(
        tied(&known(1004, 10.0), &stages),
        borderline("a", "b", "b", 4.0)
    );
}

#[test]
fn a_stage_that_was_reopened_is_one_stage() {
    // Closed and at once reopened: no border at all.
    let stages = [span("a", 0, 1000), span("a", 1000, 2000)];
    assert!(
        matches!(tied(&known(1000, 10.0), &stages), Tie::Certain { stage, .. } if stage == "a")
    );
    // Closed by mistake for ten seconds: the gap is bridged, from either side and within.
    let stages = [span("a", 0, 1000), span("a", 1010, 2000)];
    for s in [995, 1005, 1015] {
        assert!(
            matches!(tied(&known(s, 10.0), &stages), Tie::Certain { stage, .. } if stage == "a"),
            "{s}"
        );
    }
    // With another stage in reach, that border is the doubt, not the bridged gap.
    let stages = [
        span("a", 0, 1000),
        span("a", 1010, 1020),
        span("b", 1020, None),
    ];
    assert_eq!(
        tied(&known(1005, 10.0), &stages),
        borderline("a", "b", "a", 15.0)
    );
    // Reopened while another runs.
    let stages = [
        span("a", 0, 1000),
        span("b", 1000, None),
        span("a", 1500, 1600),
    ];
    assert_eq!(
        tied(&known(1550, 1.0), &stages),
        Tie::SeveralOpen {
            stages: vec!["b".into(), "a".into()]
        }
    );
}

#[test]
fn spans_that_close_before_they_open_are_never_open() {
    let stages = [span("a", 0, 1000), span("x", 500, 400), span("y", 600, 600)];
    assert_eq!(tied(&known(600, 10.0), &stages), certain("a", 400.0));
}

#[test]
fn a_decision_wins_even_without_a_time() {
    let decision = Decision {
        stage: "b".into(),
        by: "R. Tester".into(),
        at: at(9000),
    };
    let stages = [span("a", 0, 1000)];
    for time in [TrueTime::Unknown, known(500, 1.0)] {
        let tie = tie(&time, &stages, Some(&decision), UNCHECKED_CLOCK_U_S);
        assert_eq!(tie, Tie::Decided(decision.clone()));
        assert_eq!(tie.stage(), Some("b"));
        assert!(!tie.is_doubtful());
    }
    assert_eq!(tied(&TrueTime::Unknown, &stages), Tie::NoTime);
    assert!(Tie::NoTime.is_doubtful());
}

#[test]
fn either_hour_is_settled_only_where_both_agree() {
    let either = |later_s| TrueTime::Either {
        earlier: Moment {
            at: at(500),
            u_s: Some(1.0),
        },
        later: Moment {
            at: at(later_s),
            u_s: Some(1.0),
        },
        why: Why::Repeated,
    };
    let stages = [span("a", 0, 5000), span("b", 5000, None)];
    assert_eq!(tied(&either(4100), &stages), certain("a", 500.0));
    let Tie::Ambiguous { earlier, later, .. } = tied(&either(5500), &stages) else {
        panic!("differs");
    };
    assert_eq!(earlier.stage(), Some("a"));
    assert_eq!(later.stage(), Some("b"));
}

#[test]
fn inferred_times_are_marked() {
    let inferred = |s| TrueTime::Inferred {
        moment: Moment {
            at: at(s),
            u_s: Some(10.0),
        },
        after_file: "IMG_0011.JPG".into(),
        before_file: "IMG_0013.JPG".into(),
    };
    let stages = [span("a", 0, 1000), span("b", 1000, None)];
    assert_eq!(
        tied(&inferred(500), &stages),
        Tie::Inferred {
            stage: "a".into(),
            after_file: "IMG_0011.JPG".into(),
            before_file: "IMG_0013.JPG".into(),
        }
    );
    assert_eq!(
        tied(&inferred(990), &stages),
        borderline("a", "b", "a", 10.0)
    );
}

#[test]
fn ties_come_back_from_json() {
    let all = [
        certain("a", 1.5),
        borderline("a", "", "a", 2.0),
        Tie::NoTime,
        Tie::Decided(Decision {
            stage: "b".into(),
            by: "x".into(),
            at: at(0),
        }),
        Tie::Ambiguous {
            earlier: Box::new(Tie::NoTime),
            later: Box::new(certain("a", 0.0)),
            why: Why::Skipped,
        },
    ];
    for tie in all {
        let json = serde_json::to_string(&tie).unwrap();
        assert_eq!(serde_json::from_str::<Tie>(&json).unwrap(), tie, "{json}");
    }
}

proptest! {
    /// Whatever the stages: "certain" means that the one stage is open alone at every
    /// moment of the window, tried on a dense grid; "none open", that none is.
    #[test]
    fn certain_is_certain(
        spans in prop::collection::vec((0usize..4, 0i64..300, 0i64..120, any::<bool>()), 0..7),
        t in -50i64..400,
        u in 0i64..40,
    ) {
        let names = ["a", "b", "c", "d"];
        let stages: Vec<StageSpan> = spans.iter().map(|&(name, opened, length, open)| {
            span(names[name], opened, (!open).then_some(opened + length))
        }).collect();
        let open_at = |s: i64| {
            let mut ids: Vec<&str> = stages.iter()
                .filter(|x| x.is_open_at(at(s))).map(|x| x.id.as_str()).collect();
            ids.sort_unstable();
            ids.dedup();
            ids
        };
        // Borders are whole seconds; the window is taken open at its early end, as a
        // border exactly there is behind everything that counts.
        let window = (t - 2 * u)..=(t + 2 * u);
        let mut states: Vec<_> = window.map(open_at).collect();
        // Gaps with stages on both sides are bridged.
        let last_open = states.iter().rposition(|s| !s.is_empty()).unwrap_or(0);
        let first_open = states.iter().position(|s| !s.is_empty()).unwrap_or(0);
        let mut index = 0;
        states.retain(|s| {
            let inner = first_open < index && index < last_open;
            index += 1;
            !(inner && s.is_empty())
        });
        let constant = states.iter().all(|s| *s == states[0]);
        match tied(&known(t, u as f64), &stages) {
            Tie::Certain { stage, .. } => {
                prop_assert!(constant);
                prop_assert_eq!(&states[0], &vec![stage.as_str()]);
            }
            Tie::NoneOpen { .. } => {
                prop_assert!(constant);
                prop_assert!(states[0].is_empty());
            }
            Tie::SeveralOpen { stages } => {
                let mut stages = stages;
                stages.sort();
                prop_assert_eq!(open_at(t), stages);
            }
            Tie::Borderline { earlier, later, likelier, border_s } => {
                prop_assert!(!constant);
                prop_assert!(border_s >= 0.0 && border_s <= 2.0 * u as f64);
                prop_assert!(Some(&likelier) == earlier.as_ref() || Some(&likelier) == later.as_ref());
                prop_assert_ne!(&earlier, &later);
                for stage in [earlier, later].into_iter().flatten() {
                    prop_assert!(states.iter().any(|s| s.contains(&stage.as_str())));
                }
                let here = open_at(t);
                if let [one] = here.as_slice() {
                    prop_assert_eq!(*one, likelier.as_str());
                }
            }
            other => prop_assert!(false, "{:?}", other),
        }
    }
}
