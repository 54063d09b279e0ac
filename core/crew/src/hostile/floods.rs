//! A member that sends without an end.

use samod::DocumentId;

use super::*;
use crate::wire::Told;

/// What this process has in memory, bytes; other tests run beside this one in the same process.
fn memory() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:"));
    let kb = line.and_then(|line| line.split_whitespace().nth(1)?.parse::<u64>().ok());
    kb.unwrap() * 1024
}

const LITTLE: u64 = 150_000_000;

/// Sends until it is cut off or `most` messages have gone.
async fn flood(writer: &mut Writer, most: u64, message: impl Fn(u64) -> Control) -> u64 {
    for number in 0..most {
        let message = message(number);
        let write = tokio::time::timeout(Duration::from_secs(5), writer.write(&message));
        if !matches!(write.await, Ok(Ok(()))) {
            return number;
        }
    }
    most
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn questions_without_an_end_whose_answers_nobody_takes_are_cut_off() {
    let mut a = Device::new(1).await;
    let (connection, mut writer, _reader, _endpoint, _store) = insider(&mut a).await;
    let before = memory();
    // Each answer is a kilobyte that is never read.
    let photos = vec![[7; 32]; 1024];
    let ask = |number| Control::Holds {
        number,
        photos: photos.clone(),
    };
    let sent = flood(&mut writer, 20_000, ask).await;
    assert!(sent < 20_000, "all questions were taken");
    // By us, or by QUIC's own limit on what may lie about unread.
    closed_within(&connection, Duration::from_secs(5)).await;
    let grown = memory().saturating_sub(before);
    assert!(grown < LITTLE, "{grown} bytes after {sent} messages");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn tidings_of_documents_that_nobody_has_take_little_memory() {
    let mut a = Device::new(1).await;
    let (_connection, mut writer, _reader, _endpoint, _store) = insider(&mut a).await;
    let before = memory();
    let told = |number: u64| {
        let mut id = [0; 16];
        id[..8].copy_from_slice(&number.to_le_bytes());
        id[15] = 1;
        let document = DocumentId::try_from(id.to_vec()).unwrap();
        let heads = crate::roster::DocumentHeads::new(&document, &[automerge::ChangeHash([9; 32])]);
        Control::Heads(Told { heads, turn: 1 })
    };
    let sent = flood(&mut writer, 60_000, told).await;
    let pending = || {
        let session = a.crew.engine.all_sessions().pop().unwrap();
        crate::engine::lock(&session.exchange).pending.len()
    };
    // More documents than any shop has; the rest is not noted.
    eventually("it has read them", || pending() >= 50_000).await;
    tokio::time::sleep(Duration::from_secs(2)).await;
    assert_eq!(pending(), 50_000);
    let grown = memory().saturating_sub(before);
    assert!(grown < LITTLE, "{grown} bytes after {sent} messages");
    // And the device works as before, while the other is still there.
    let b = Device::new(2).await;
    a.invite(&b, Role::Works).await;
    connected(&a, &b).await;
    let doc = a.document("x", 1).await;
    assert_eq!(get(&b.find(doc.document_id()).await, "x"), Some(1));
    // What is new elsewhere is not kept waiting by what it looks for.
    let doc = b.document("y", 2).await;
    assert_eq!(get(&a.find(doc.document_id()).await, "y"), Some(2));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn garbage_for_the_document_store_without_an_end_takes_little_memory() {
    let mut a = Device::new(1).await;
    let (connection, _writer, _reader, _endpoint) = turncoat(&mut a).await;
    let before = memory();
    let (mut send, _recv) = connection.open_bi().await.unwrap();
    let mut sent = 0;
    while sent < 400 {
        let mut frame = vec![0x5a; 1_000_004];
        frame[..4].copy_from_slice(&1_000_000u32.to_be_bytes());
        let write = tokio::time::timeout(Duration::from_secs(5), send.write_all(&frame));
        if !matches!(write.await, Ok(Ok(()))) {
            break;
        }
        sent += 1;
    }
    let grown = memory().saturating_sub(before);
    assert!(grown < LITTLE, "{grown} bytes after {sent} frames");
    closed_within(&connection, Duration::from_secs(13)).await;
    assert!(a.crew.peers().is_empty());
}
