//! What the engine tells, and what the shop records of it.

use std::sync::Weak;
use std::time::Duration;

use datumtrail_crew::{ClockOffset, Crew, Event, MemberId, Role};
use tokio::sync::broadcast;

use crate::error::Result;
use crate::job::record::Skew;
use crate::job::view::CLOCKS_AGREE_S;
use crate::shop::Shop;
use crate::shop::folder::Inner;

/// An offset that was recorded is recorded again once it has changed by this much.
const CHANGED_S: f64 = 1.0;

/// Listens until the engine or the shop is gone.
pub(super) fn listen(crew: &Crew, inner: Weak<Inner>) {
    let mut events = crew.events();
    tokio::spawn(async move {
        // What was decided while nobody listened is recorded once the engine is there to be asked.
        loop {
            match inner.upgrade() {
                Some(inner) if inner.crew.initialized() => break,
                Some(_) => {}
                None => return,
            }
            tokio::time::sleep(Duration::from_millis(20)).await;
        }
        let mut event = Event::RosterChanged;
        loop {
            let Some(shop) = inner.upgrade().map(Shop::of) else {
                return;
            };
            if let Err(e) = shop.heard(&event).await {
                tracing::warn!("the shop could not record what the crew told: {e}");
            }
            drop(shop);
            event = match events.recv().await {
                Ok(event) => event,
                // Something was missed: whatever it was, the roster may have changed with it.
                Err(broadcast::error::RecvError::Lagged(_)) => Event::RosterChanged,
                Err(broadcast::error::RecvError::Closed) => return,
            };
        }
    });
}

impl Shop {
    async fn heard(&self, event: &Event) -> Result<()> {
        match event {
            Event::DocumentArrived(document) => {
                if self.settings().current_job.is_none() {
                    self.use_job(&document.to_string())?;
                }
                self.record_removals().await
            }
            // What a remover had may have come with it.
            Event::RosterChanged | Event::DocumentChanged(_) => self.record_removals().await,
            Event::ClockOffset { who, offset } => self.record_skew(who, offset).await,
            _ => Ok(()),
        }
    }

    /// Records in every job how far another device's clock is from this one's.
    async fn record_skew(&self, who: &MemberId, offset: &ClockOffset) -> Result<()> {
        let offset_s = offset.micros as f64 / 1e6;
        if !matches!(self.role(), Some(Role::Keeps | Role::Works)) {
            return Ok(());
        }
        let (me, other) = (self.device().0, who.to_string());
        for (handle, needs) in self.all_needs().await? {
            let last = needs.skews.get(&(me.clone(), other.clone())).copied();
            let worth = match last {
                // Also when clocks agree again.
                Some(last) => (offset_s - last).abs() > CHANGED_S,
                None => offset_s.abs() > CLOCKS_AGREE_S,
            };
            if worth {
                let skew = Skew {
                    device: other.clone(),
                    offset_s,
                    u_s: offset.bound_micros as f64 / 1e6,
                };
                self.job_of(handle).add(skew).await?;
            }
        }
        Ok(())
    }
}
