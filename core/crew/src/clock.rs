//! How far another device's clock is from ours.
//!
//! The four-timestamp exchange of NTP (RFC 5905, section 8): with `sent` and `back` by our clock,
//! `received` and `answered` by theirs, the offset is half of
//! `(received - sent) + (answered - back)` and the round trip `(back - sent) - (answered -
//! received)`. Whatever part of the round trip either way took, the offset is off by no more than
//! half of it; so of several exchanges the one with the shortest round trip counts.

use std::sync::Arc;
use std::time::Duration;

use crate::engine::{Engine, lock};
use crate::error::Refusal;
use crate::event::{ClockOffset, Event};
use crate::session::Session;
use crate::wire::{close, code};

const ROUNDS: usize = 8;
const BETWEEN_ROUNDS: Duration = Duration::from_millis(40);
/// A device that doesn't answer for so long is taken for dead, however lively its connection.
const ANSWER_MAX: Duration = Duration::from_secs(20);
const AGAIN: Duration = Duration::from_secs(60);
/// Every so many looks the offset is measured again.
const MEASURE_EVERY: u32 = 10;

/// One exchange of time stamps, in microseconds.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Exchanged {
    pub(crate) sent: i64,
    pub(crate) received: i64,
    pub(crate) answered: i64,
    pub(crate) back: i64,
}

impl Exchanged {
    fn offset(&self) -> ClockOffset {
        // Two halves apart, since clocks may lie decades apart and a sum must not overflow.
        let (sent, received) = (i128::from(self.sent), i128::from(self.received));
        let (answered, back) = (i128::from(self.answered), i128::from(self.back));
        let micros = ((received - sent) + (answered - back)) / 2;
        let round_trip = ((back - sent) - (answered - received)).max(0);
        ClockOffset {
            micros: i64::try_from(micros).unwrap_or(i64::MAX),
            bound_micros: u64::try_from((round_trip + 1) / 2).unwrap_or(u64::MAX),
        }
    }
}

fn best(exchanges: &[Exchanged]) -> Option<ClockOffset> {
    exchanges
        .iter()
        .map(Exchanged::offset)
        .min_by_key(|offset| offset.bound_micros)
}

/// Measures on meeting and every ten minutes, and looks every minute whether anybody is there.
pub(crate) async fn watch(engine: Arc<Engine>, session: Arc<Session>) {
    let watching = async {
        for look in 0u32.. {
            let rounds = if look % MEASURE_EVERY == 0 { ROUNDS } else { 1 };
            let mut exchanges = Vec::new();
            for _ in 0..rounds {
                match session.ping(&engine, ANSWER_MAX).await {
                    Some(exchanged) => exchanges.push(exchanged),
                    None => {
                        let why = Refusal::Silent;
                        close(&session.connection, code::of(why), "no answer");
                        return;
                    }
                }
                tokio::time::sleep(BETWEEN_ROUNDS).await;
            }
            if rounds == ROUNDS
                && let Some(offset) = best(&exchanges)
            {
                *lock(&session.offset) = Some(offset);
                engine.tell(Event::ClockOffset {
                    who: session.peer,
                    offset,
                });
            }
            tokio::time::sleep(AGAIN).await;
        }
    };
    tokio::select! {
        () = watching => {}
        _ = session.connection.closed() => {}
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_worked_example_of_a_symmetrical_path() {
        // Their clock is 5 s ahead, each way takes 10 ms, they think for 1 ms.
        let exchanged = Exchanged {
            sent: 1_000_000,
            received: 6_010_000,
            answered: 6_011_000,
            back: 1_021_000,
        };
        let offset = exchanged.offset();
        assert_eq!(offset.micros, 5_000_000);
        assert_eq!(offset.bound_micros, 10_000);
    }

    proptest! {
        #[test]
        fn the_truth_is_within_the_bound(
            offset in -200_000_000_000i64..200_000_000_000,
            ways in proptest::collection::vec((0i64..500_000, 0i64..500_000, 0i64..1000), 1..9),
        ) {
            let exchanges: Vec<Exchanged> = ways
                .iter()
                .map(|(there, back, thinking)| Exchanged {
                    sent: 0,
                    received: there + offset,
                    answered: there + offset + thinking,
                    back: there + thinking + back,
                })
                .collect();
            let found = best(&exchanges).unwrap();
            let error = (found.micros - offset).unsigned_abs();
            prop_assert!(error <= found.bound_micros + 1);
            let shortest = ways.iter().map(|(a, b, _)| a + b).min().unwrap();
            prop_assert!(found.bound_micros <= shortest.unsigned_abs() / 2 + 1);
        }

        #[test]
        fn hostile_times_do_not_overflow(a: i64, b: i64, c: i64, d: i64) {
            let exchanged = Exchanged { sent: a, received: b, answered: c, back: d };
            let _ = exchanged.offset();
        }
    }
}
