//! Makes and checks seals in files, for trying them against OpenSSH.
//!
//! ```text
//! cargo run -p datumtrail-seal --example seal -- make FOLDER
//! cargo run -p datumtrail-seal --example seal -- check MESSAGE SIGNATURE ALLOWED_SIGNERS
//! ```

use std::error::Error;
use std::path::Path;

use datumtrail_seal::{
    SealedFile, allowed_signers_line, canonical, how_to_verify, principal, public_key, sign, verify,
};

/// RFC 8032, 7.1, test 1: a key that everyone knows, and that protects nothing.
const SEED: &str = "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60";

fn main() -> Result<(), Box<dyn Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
    match arguments.as_slice() {
        ["make", folder] => make(Path::new(folder)),
        ["check", message, signature, allowed] => {
            let message = std::fs::read(message)?;
            let signature = std::fs::read_to_string(signature)?;
            let signer = verify(&message, &signature, &std::fs::read_to_string(allowed)?)?;
            println!("signed by {}", signer.principal);
            Ok(())
        }
        _ => Err("make FOLDER, or check MESSAGE SIGNATURE ALLOWED_SIGNERS".into()),
    }
}

fn make(folder: &Path) -> Result<(), Box<dyn Error>> {
    let seed: [u8; 32] = data_encoding::HEXLOWER
        .decode(SEED.as_bytes())?
        .try_into()
        .map_err(|_| "the key is not 32 bytes long")?;
    let sealed = canonical(&serde_json::json!({
        "stage": "fit-survey",
        "readings": [{ "point": "R'", "mm": [3000.25, 480.1, -1e-7] }],
        "note": "Ünder the «fold» \u{1f600}\u{2028}",
    }))?;
    let name = "Bench 1";
    let key = public_key(&seed);
    std::fs::write(folder.join("stage.json"), &sealed)?;
    std::fs::write(
        folder.join("stage.json.sig"),
        sign(sealed.as_bytes(), &seed)?,
    )?;
    std::fs::write(
        folder.join("allowed_signers"),
        allowed_signers_line(name, &key),
    )?;
    let file = SealedFile {
        file: "stage.json".into(),
        signature: "stage.json.sig".into(),
        principal: principal(name, &key),
        what: "The stage".into(),
    };
    std::fs::write(
        folder.join("HOW-TO-VERIFY.txt"),
        how_to_verify("allowed_signers", &[file]),
    )?;
    Ok(())
}
