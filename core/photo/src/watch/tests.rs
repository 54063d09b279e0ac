use super::*;

/// Short times, so that the tests are quick; the order of things is what is tested.
fn quick() -> Settings {
    Settings {
        settle: Duration::from_millis(150),
        patience: Duration::from_millis(900),
        rescan: Duration::from_millis(200),
        ..Settings::default()
    }
}

fn jpeg(shade: u8) -> Vec<u8> {
    let mut out = Vec::new();
    jpeg_encoder::Encoder::new(&mut out, 80)
        .encode(&[shade; 64 * 48], 64, 48, jpeg_encoder::ColorType::Luma)
        .unwrap();
    out
}

fn hash(bytes: &[u8]) -> [u8; 32] {
    *blake3::hash(bytes).as_bytes()
}

const LONG: Duration = Duration::from_secs(20);

fn arrived(watch: &Watch) -> (String, [u8; 32]) {
    match watch.next(LONG) {
        Some(Event::Arrived { path, identity }) => (
            path.file_name().unwrap().to_string_lossy().into_owned(),
            identity.blake3,
        ),
        other => panic!("{other:?}"),
    }
}

#[test]
fn what_is_there_and_what_comes_is_told_once() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("before.jpg"), jpeg(10)).unwrap();
    let watch = Watch::start(folder.path(), HashSet::new(), quick()).unwrap();
    assert_eq!(arrived(&watch), ("before.jpg".into(), hash(&jpeg(10))));
    std::fs::create_dir(folder.path().join("inside")).unwrap();
    std::fs::write(folder.path().join("inside/after.jpg"), jpeg(20)).unwrap();
    assert_eq!(arrived(&watch), ("after.jpg".into(), hash(&jpeg(20))));
    // The same bytes under another name, and a rename: known, not new.
    std::fs::write(folder.path().join("again.jpg"), jpeg(20)).unwrap();
    assert!(matches!(watch.next(LONG), Some(Event::Known { .. })));
    assert!(watch.next(Duration::from_millis(700)).is_none());
}

#[test]
fn a_file_is_told_only_when_it_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let patient = Settings {
        patience: LONG,
        ..quick()
    };
    let watch = Watch::start(folder.path(), HashSet::new(), patient).unwrap();
    let whole = jpeg(30);
    let path = folder.path().join("slow.jpg");
    std::fs::write(&path, &whole[..whole.len() / 2]).unwrap();
    // It stands still for longer than it takes to settle, and is not told.
    assert!(watch.next(Duration::from_millis(800)).is_none());
    std::fs::write(&path, &whole).unwrap();
    assert_eq!(arrived(&watch), ("slow.jpg".into(), hash(&whole)));
}

#[test]
fn a_restart_brings_nothing_again() {
    let folder = tempfile::tempdir().unwrap();
    std::fs::write(folder.path().join("a.jpg"), jpeg(40)).unwrap();
    let watch = Watch::start(folder.path(), HashSet::new(), quick()).unwrap();
    let (_, first) = arrived(&watch);
    drop(watch);
    std::fs::write(folder.path().join("b.jpg"), jpeg(50)).unwrap();
    let watch = Watch::start(folder.path(), HashSet::from([first]), quick()).unwrap();
    let mut told: Vec<bool> = (0..2)
        .map(|_| match watch.next(LONG) {
            Some(Event::Known { .. }) => false,
            Some(Event::Arrived { identity, .. }) => {
                assert_eq!(identity.blake3, hash(&jpeg(50)));
                true
            }
            other => panic!("{other:?}"),
        })
        .collect();
    told.sort_unstable();
    assert_eq!(told, [false, true]);
}

#[test]
fn what_never_becomes_whole_and_what_is_no_picture_is_reported_once() {
    let folder = tempfile::tempdir().unwrap();
    let cut = jpeg(60);
    std::fs::write(folder.path().join("cut.jpg"), &cut[..cut.len() - 9]).unwrap();
    std::fs::write(folder.path().join("notes.txt"), b"not a picture").unwrap();
    std::fs::write(folder.path().join("coming.jpg.part"), jpeg(70)).unwrap();
    std::fs::write(folder.path().join(".hidden.jpg"), jpeg(80)).unwrap();
    let watch = Watch::start(folder.path(), HashSet::new(), quick()).unwrap();
    let mut told = Vec::new();
    while told.len() < 2 {
        match watch.next(LONG) {
            Some(Event::Unreadable { path, why }) => told.push((path, why.to_string())),
            other => panic!("{other:?}"),
        }
    }
    assert!(watch.next(Duration::from_millis(1200)).is_none());
    let text = format!("{told:?}");
    assert!(
        text.contains("notes.txt") && text.contains("not a picture"),
        "{text}"
    );
    assert!(
        text.contains("cut.jpg") && text.contains("truncated JPEG"),
        "{text}"
    );
}

#[test]
fn a_folder_that_is_not_there_is_an_error_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let missing = Watch::start(&folder.path().join("gone"), HashSet::new(), quick());
    assert!(matches!(missing.err(), Some(WatchError::Folder { .. })));
}
