//! Signatures: what holds, what does not, and how lists of allowed signers are read.

use datumtrail_seal::{
    SealError, allowed_signers, allowed_signers_line, principal, public_key, sign, verify,
};
use proptest::prelude::*;

const SEED: [u8; 32] = [7; 32];
const OTHER: [u8; 32] = [8; 32];
const MESSAGE: &[u8] = b"{\"stage\":\"fit-survey\"}";

fn hex(text: &str) -> Vec<u8> {
    data_encoding::HEXLOWER.decode(text.as_bytes()).unwrap()
}

/// RFC 8032, 7.1, test 1.
#[test]
fn the_public_key_is_the_rfc_s() {
    let seed = hex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60");
    let public = hex("d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a");
    assert_eq!(
        public_key(seed.as_slice().try_into().unwrap()).as_slice(),
        public
    );
}

#[test]
fn a_signature_holds_for_its_content_and_its_signer_only() {
    let signature = sign(MESSAGE, &SEED).unwrap();
    assert!(signature.starts_with("-----BEGIN SSH SIGNATURE-----\n"));
    assert_eq!(sign(MESSAGE, &SEED).unwrap(), signature, "deterministic");
    let (ours, theirs) = (public_key(&SEED), public_key(&OTHER));
    let both = format!(
        "# the shop's devices\n\n{}{}",
        allowed_signers_line("phone", &theirs),
        allowed_signers_line("bench", &ours)
    );
    let signer = verify(MESSAGE, &signature, &both).unwrap();
    assert_eq!(signer.principal, principal("bench", &ours));
    assert_eq!(signer.key, ours);
    assert_eq!(verify(b"{}", &signature, &both), Err(SealError::DoesNotFit));
    let without = allowed_signers_line("phone", &theirs);
    assert!(matches!(
        verify(MESSAGE, &signature, &without),
        Err(SealError::UnknownSigner { .. })
    ));
    // A key that may sign for another purpose only.
    let elsewhere = allowed_signers_line("bench", &ours).replace("\"datumtrail\"", "\"git,file\"");
    assert!(matches!(
        verify(MESSAGE, &signature, &elsewhere),
        Err(SealError::UnknownSigner { .. })
    ));
    // Line ends that a mail program changed.
    let crlf = signature.replace('\n', "\r\n");
    assert_eq!(verify(MESSAGE, &crlf, &both).unwrap().key, ours);
}

#[test]
fn what_is_no_signature_is_refused_with_the_reason() {
    let allowed = allowed_signers_line("bench", &public_key(&SEED));
    for text in [
        "",
        "nonsense",
        "-----BEGIN SSH SIGNATURE-----\nAAAA\n-----END SSH SIGNATURE-----",
    ] {
        let error = verify(MESSAGE, text, &allowed).unwrap_err();
        assert!(matches!(error, SealError::NotASignature { .. }), "{error}");
    }
    let error = verify(MESSAGE, &sign(MESSAGE, &SEED).unwrap(), "bench ssh-ed25519").unwrap_err();
    assert!(error.to_string().contains("line 1"), "{error}");
}

/// The forms that `ssh-keygen(1)` describes.
#[test]
fn lists_of_allowed_signers_are_read_as_openssh_writes_them() {
    let key = public_key(&SEED);
    let ours = allowed_signers_line("a \"quoted\" *name*,\nof two lines", &key);
    assert_eq!(ours.lines().count(), 1);
    let word = ours.split_whitespace().nth(3).unwrap();
    let text = format!(
        "one@example.org,two@example.org ssh-ed25519 {word}\n\
         three\tnamespaces=\"file,datumtrail\" ssh-ed25519 {word} a comment\n\
         four cert-authority,namespaces=\"datumtrail\" ssh-ed25519 {word}\n\
         five valid-before=\"20300101\" ssh-ed25519 {word}\n\
         six ssh-rsa AAAAB3NzaC1yc2EAAAADAQABAAAAQQ==\n"
    );
    let all = allowed_signers(&text).unwrap();
    let names: Vec<&str> = all.iter().map(|a| a.principal.as_str()).collect();
    assert_eq!(names, ["one@example.org,two@example.org", "three"]);
    assert!(all.iter().all(|a| a.key == key && a.may_sign("datumtrail")));
    assert!(all[0].may_sign("git") && !all[1].may_sign("git"));
    assert_eq!(
        allowed_signers(&ours).unwrap()[0].namespaces,
        ["datumtrail"]
    );
    // Half a pair of quotes: harmless in a comment; in front of the key it hides the key.
    let half = format!("{} 6\" bench", allowed_signers_line("bench", &key).trim());
    assert_eq!(allowed_signers(&half).unwrap().len(), 1);
    let open = half.replacen("datumtrail\"", "datumtrail", 1);
    assert!(allowed_signers(&open).is_err());
}

proptest! {
    // The curve is slow without optimisation.
    #![proptest_config(ProptestConfig::with_cases(32))]

    /// Whatever a file holds, it is read or refused.
    #[test]
    fn nothing_from_outside_panics(signature in any::<String>(), allowed in any::<String>()) {
        prop_assert!(verify(MESSAGE, &signature, &allowed).is_err());
        let _ = allowed_signers(&allowed);
    }

    /// Any byte of a signature changed: never taken for good.
    #[test]
    fn a_changed_signature_never_holds(at in 30_usize..250, to in 0_u8..64) {
        const LETTERS: &[u8; 64] =
            b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        let allowed = allowed_signers_line("bench", &public_key(&SEED));
        let mut bytes = sign(MESSAGE, &SEED).unwrap().into_bytes();
        let letter = LETTERS[usize::from(to)];
        prop_assume!(at < bytes.len() && bytes[at] != b'\n' && bytes[at] != letter);
        bytes[at] = letter;
        let changed = String::from_utf8(bytes).unwrap();
        prop_assert!(verify(MESSAGE, &changed, &allowed).is_err());
    }

    /// Whatever a device is called, its line is one line that finds its key again.
    #[test]
    fn any_name_gives_a_line_that_reads_back(name in any::<String>()) {
        let key = public_key(&SEED);
        let line = allowed_signers_line(&name, &key);
        let all = allowed_signers(&line).unwrap();
        prop_assert_eq!(all.len(), 1);
        prop_assert_eq!(&all[0].principal, &principal(&name, &key));
        prop_assert!(all[0].principal.chars().all(|c| c.is_ascii_alphanumeric() || c == '-'));
    }
}
