//! Seals and the signature over the whole, in an archive.

use super::tamper::forge;
use super::{json_of, text_of};
use crate::archive::sealed::Standing;
use crate::archive::testjob::Bench;
use crate::archive::{FindingKind, file, verify};
use crate::error::Error;
use crate::shop::NewNote;

fn note(text: &str, stage: &str) -> NewNote {
    NewNote {
        text: text.into(),
        stage: Some(stage.into()),
        ..NewNote::default()
    }
}

#[tokio::test]
async fn only_a_closed_stage_is_sealed_and_not_twice_without_a_change() {
    let bench = Bench::new().await;
    let job = bench.job().await;
    let refused = job.seal_stage("surface").await.unwrap_err();
    assert!(matches!(refused, Error::Unknown { .. }), "{refused}");
    job.open_stage("corrosion-protection", None).await.unwrap();
    let refused = job.seal_stage("corrosion-protection").await.unwrap_err();
    assert!(refused.to_string().contains("still open"), "{refused}");

    let first = job.seal_stage("as-found-survey").await.unwrap();
    assert_eq!(first.standing, Standing::Unchanged);
    let refused = job.seal_stage("as-found-survey").await.unwrap_err();
    assert!(
        refused.to_string().contains("nothing has changed"),
        "{refused}"
    );

    job.add_note(note("The sill is fine.", "as-found-survey"))
        .await
        .unwrap();
    let seals = job.seals().unwrap();
    assert_eq!(seals[0].standing, Standing::ChangedSince);
    assert!(
        seals[0].changes[0].starts_with("The note «The sill is fine.»"),
        "{:?}",
        seals[0].changes
    );
    let second = job.seal_stage("as-found-survey").await.unwrap();
    assert_eq!(second.standing, Standing::Unchanged);
    assert_ne!(first.sha512, second.sha512);
    assert_eq!(job.seals().unwrap().len(), 2);
    bench.shop.close().await;
}

#[tokio::test]
async fn an_archive_carries_its_seals_and_is_signed_as_a_whole() {
    let bench = Bench::new().await;
    let job = bench.job().await;
    job.seal_stage("as-found-survey").await.unwrap();
    job.seal_stage("test-welds").await.unwrap();
    job.add_note(note("Added later.", "test-welds"))
        .await
        .unwrap();
    let device = bench.shop.device().0;
    for name in ["a.zip", "a folder"] {
        bench.export(name).await.unwrap();
        let path = bench.path(name);
        let found = verify(&path).unwrap();
        assert!(found.is_whole(), "{found}");
        let signature = found.signature.unwrap();
        assert_eq!(signature.key, device);
        assert!(signature.principal.starts_with("bench-"));
        let standings: Vec<Standing> = found.seals.iter().map(|s| s.standing).collect();
        assert_eq!(standings, [Standing::Unchanged, Standing::ChangedSince]);

        let sealed = text_of(&path, "seals/02-as-found-survey-1.json");
        let signature = text_of(&path, "seals/02-as-found-survey-1.json.sig");
        let allowed = text_of(&path, file::ALLOWED);
        datumtrail_seal::verify(sealed.as_bytes(), &signature, &allowed).unwrap();
        // One device, one line.
        assert_eq!(allowed.lines().count(), 1);
        let page = text_of(&path, file::TIMELINE);
        assert!(page.contains("Added or changed since:") && page.contains("«Added later.»"));
        assert_eq!(json_of(&path)["seals"][1]["standing"], "changed_since");
    }
    let how = std::fs::read_to_string(bench.path("a folder").join("HOW-TO-CHECK.txt")).unwrap();
    assert!(how.contains("-s signature/archive.sha512.sig < signature/archive.sha512"));
    assert!(how.contains("< data/seals/07-test-welds-1.json"), "{how}");
    bench.shop.close().await;
}

/// A forger who packs everything again, so that the bag is whole in itself.
#[tokio::test]
async fn forged_seals_and_signatures_are_named() {
    let bench = Bench::new().await;
    let job = bench.job().await;
    job.seal_stage("as-found-survey").await.unwrap();
    bench.export("a.zip").await.unwrap();
    bench.export("a folder").await.unwrap();
    let content = "seals/02-as-found-survey-1.json";
    let edit = |name: &'static str, from: &'static str, to: &'static str| {
        move |path: &str, bytes: Vec<u8>| {
            let text = String::from_utf8_lossy(&bytes);
            match path == name {
                true => Some(text.replacen(from, to, 1).into_bytes()),
                false => Some(bytes),
            }
        }
    };
    type Meddle = Box<dyn Fn(&str, Vec<u8>) -> Option<Vec<u8>>>;
    let cases: [(&str, FindingKind, Meddle); 3] = [
        (
            content,
            FindingKind::Recomputed,
            Box::new(edit(content, "\"point\":\"R\"", "\"point\":\"E\"")),
        ),
        (
            file::ALLOWED,
            FindingKind::Missing,
            Box::new(move |path, bytes| (path != content).then_some(bytes)),
        ),
        (
            "signature/archive.sha512",
            FindingKind::Missing,
            Box::new(|_, bytes| Some(bytes)),
        ),
    ];
    for (what, kind, meddle) in cases {
        let forged = bench.path("forged.zip");
        forge(&bench.path("a.zip"), &forged, meddle);
        let found = verify(&forged).unwrap();
        assert!(found.bag.is_whole() && !found.is_whole(), "{what}: {found}");
        assert!(
            found.findings.iter().any(|f| f.kind == kind),
            "{what}: {found}"
        );
        std::fs::remove_file(&forged).unwrap();
    }

    // The signed list made again by someone else, with the manifests made to fit.
    let folder = bench.path("a folder");
    let list = folder.join("signature/archive.sha512");
    let text = std::fs::read_to_string(&list).unwrap();
    let signature = datumtrail_seal::sign(text.as_bytes(), &[7; 32]).unwrap();
    std::fs::write(folder.join("signature/archive.sha512.sig"), signature).unwrap();
    let found = verify(&folder).unwrap();
    assert!(found.signature.is_none());
    let named = |kind, file: &str| {
        found
            .findings
            .iter()
            .any(|f| f.kind == kind && f.file == file)
    };
    assert!(
        named(FindingKind::Signature, "signature/archive.sha512"),
        "{found}"
    );
    bench.shop.close().await;
}
