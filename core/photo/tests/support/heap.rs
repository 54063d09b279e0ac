//! How much memory a piece of work takes at its highest, counted by the allocator of a test
//! process. All threads count together, so whoever measures must be alone.

use std::alloc::{GlobalAlloc, Layout, System};
use std::sync::atomic::{AtomicUsize, Ordering::Relaxed};

static NOW: AtomicUsize = AtomicUsize::new(0);
static PEAK: AtomicUsize = AtomicUsize::new(0);

/// The system's allocator, counting.
pub struct Counting;

fn more(bytes: usize) {
    PEAK.fetch_max(NOW.fetch_add(bytes, Relaxed) + bytes, Relaxed);
}

// Safety: every call is handed on unchanged to the system's allocator.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        more(layout.size());
        unsafe { System.alloc(layout) }
    }

    unsafe fn alloc_zeroed(&self, layout: Layout) -> *mut u8 {
        more(layout.size());
        unsafe { System.alloc_zeroed(layout) }
    }

    unsafe fn dealloc(&self, at: *mut u8, layout: Layout) {
        NOW.fetch_sub(layout.size(), Relaxed);
        unsafe { System.dealloc(at, layout) }
    }

    unsafe fn realloc(&self, at: *mut u8, layout: Layout, size: usize) -> *mut u8 {
        // Old and new may be there at once.
        more(size);
        let moved = unsafe { System.realloc(at, layout, size) };
        let gone = if moved.is_null() { size } else { layout.size() };
        NOW.fetch_sub(gone, Relaxed);
        moved
    }
}

/// What `work` gives, and the most bytes that it held at once beyond what was held before.
pub fn peak_of<T>(work: impl FnOnce() -> T) -> (T, usize) {
    let before = NOW.load(Relaxed);
    PEAK.store(before, Relaxed);
    let out = work();
    (out, PEAK.load(Relaxed).saturating_sub(before))
}
