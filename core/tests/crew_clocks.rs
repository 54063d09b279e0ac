//! Two shops in one process whose clocks differ by a day: they share jobs all the same, and the job
//! says how far apart the clocks are.

use std::sync::Arc;
use std::time::{Duration, Instant};

use datumtrail_core::crew::{Invite, NetOptions, Role};
use datumtrail_core::shop::{Clock, NewJob, NewNote, Shop, ShopOptions};
use jiff::{SignedDuration, Timestamp};

/// The system's clock, and so much later.
struct Ahead(SignedDuration);

impl Clock for Ahead {
    fn now(&self) -> Timestamp {
        Timestamp::now() + self.0
    }
}

async fn shop(folder: &std::path::Path, name: &str, ahead: SignedDuration) -> Shop {
    let options = ShopOptions {
        clock: Arc::new(Ahead(ahead)),
        device_name: Some(name.into()),
        net: NetOptions::loopback(),
        ..ShopOptions::default()
    };
    Shop::open(&folder.join(name), options).await.unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_clock_a_day_ahead_is_noticed_and_recorded() {
    let dir = tempfile::tempdir().unwrap();
    let day = SignedDuration::from_hours(24);
    let bench = shop(dir.path(), "bench", SignedDuration::ZERO).await;
    let phone = shop(dir.path(), "phone", day).await;
    let new = NewJob {
        name: "Order 1".into(),
        zone: Some("Etc/UTC".into()),
        ..NewJob::default()
    };
    let here = bench.new_job(new).await.unwrap();
    let ticket = bench
        .invite(Invite {
            role: Role::Works,
            name: None,
            valid: Duration::from_secs(600),
        })
        .await
        .unwrap();
    phone.join(&ticket.to_string()).await.unwrap();
    let settled = phone.settled(Duration::from_secs(60)).await.unwrap();
    assert!(settled.is_whole(), "{:?}", settled.missing);
    let there = phone.job(Some("Order 1")).await.unwrap();
    let note = NewNote {
        text: "from tomorrow".into(),
        ..NewNote::default()
    };
    there.add_note(note).await.unwrap();

    let began = Instant::now();
    let apart = loop {
        let view = here.view().unwrap();
        let said: Vec<f64> = (view.clocks_apart().iter())
            .filter(|s| s.stamp.by == bench.device().0)
            .map(|s| s.body.offset_s)
            .collect();
        if let [offset] = said.as_slice()
            && !view.notes.is_empty()
        {
            break *offset;
        }
        assert!(began.elapsed() < Duration::from_secs(60), "it was not said");
        tokio::time::sleep(Duration::from_millis(50)).await;
    };
    assert!((apart - day.as_secs_f64()).abs() < 1.0, "{apart}");
    drop((here, there));
    bench.close().await;
    phone.close().await;
}
