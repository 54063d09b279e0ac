//! A member that asks for a job whose identity it knows.

use automerge::Automerge;
use samod::{DocumentId, Repo};

use super::*;

async fn gets(store: &Repo, id: &DocumentId) -> bool {
    let find = store.find(id.clone());
    let found = tokio::time::timeout(Duration::from_secs(3), find).await;
    matches!(found, Ok(Ok(Some(document))) if get(&document, "secret") == Some(1))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_job_goes_to_nobody_before_it_is_known_who_may_have_it() {
    let mut a = Device::new(1).await;
    let (_connection, _writer, _reader, endpoint, store) = insider(&mut a).await;
    let mut doc = Automerge::new();
    set_in(&mut doc, "secret", 1);
    let handle = a.repo.create(doc).await.unwrap();
    let id = handle.document_id().clone();
    a.host.unread.lock().unwrap().insert(id.clone());
    a.crew.document_added(&handle).await;
    assert!(!gets(&store, &id).await, "not read yet");
    let limit = (id.clone(), endpoint.id());
    a.host.withheld.lock().unwrap().insert(limit);
    a.host.unread.lock().unwrap().clear();
    a.crew.access_changed();
    assert!(!gets(&store, &id).await, "limited to others");
    a.host.withheld.lock().unwrap().clear();
    a.crew.access_changed();
    // Asked again, as the store does not by itself.
    let mut asked = 0;
    while !gets(&store, &id).await {
        asked += 1;
        assert!(asked < 20, "it is open to all");
        tokio::time::sleep(Duration::from_millis(200)).await;
    }
}
