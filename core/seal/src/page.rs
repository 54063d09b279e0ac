//! The page that goes with signatures: how to check them with what nearly every computer has.

use crate::signature::NAMESPACE;

/// A file with its signature, as the page names them, and who signed it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct SealedFile {
    /// `02-as-found-survey.json`, by its path from the page.
    pub file: String,
    /// `02-as-found-survey.json.sig`.
    pub signature: String,
    /// The signer in the list of allowed signers.
    pub principal: String,
    /// What it is, in words: `the stage As-found survey`.
    pub what: String,
}

/// A plain-text page with the command for every file. `allowed` is the list of allowed signers, by
/// its path from the page.
pub fn how_to_verify(allowed: &str, files: &[SealedFile]) -> String {
    let mut page = format!(
        "\
How to check these signatures

Each signature was made by a device of the shop over one file, byte for byte.
They are OpenSSH signatures: ssh-keygen, which is part of OpenSSH and on nearly
every computer (Linux, macOS, Windows 10 and later), checks them. Open a
terminal in the folder of this page and type, on one line, what stands below
each file. It answers

    Good \"{NAMESPACE}\" signature for NAME with ED25519 key ...

where exactly these bytes were signed with that key. \"Signature verification
failed\" means that the file was changed, or that somebody else signed it. Other
errors (no such file, unknown option) say nothing about the signature: look at
the command, and whether this ssh-keygen is older than 8.1.

In PowerShell, where < is not understood, put the line in quotes behind cmd /c.

"
    );
    for sealed in files {
        let SealedFile {
            file,
            signature,
            principal,
            what,
        } = sealed;
        page += &format!(
            "{what}\n    ssh-keygen -Y verify -f {} -I {} -n {NAMESPACE} -s {} < {}\n\n",
            quoted(allowed),
            quoted(principal),
            quoted(signature),
            quoted(file)
        );
    }
    page += &format!(
        "\
What this shows, and what it does not

It shows that who held the key signed exactly this content. It does not show
when. And that a key belongs to the device that {allowed} names
rests on how you came by that file: compare the key with the one the shop tells
you by another way.
"
    );
    page
}

/// A path as a shell takes it for one word. Quotes can't be in our names; where one is, it is
/// escaped the way POSIX shells read it.
fn quoted(path: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./".contains(c);
    if !path.is_empty() && path.chars().all(plain) {
        return path.to_owned();
    }
    let escaped: String = path
        .chars()
        .flat_map(|c| {
            let special = matches!(c, '"' | '\\' | '$' | '`');
            special.then_some('\\').into_iter().chain([c])
        })
        .collect();
    format!("\"{escaped}\"")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_file_has_its_command() {
        let sealed = SealedFile {
            file: "02 as found.json".into(),
            signature: "02 as found.json.sig".into(),
            principal: "bench-d75a980182".into(),
            what: "The stage As-found survey".into(),
        };
        let page = how_to_verify("allowed_signers", &[sealed]);
        assert!(
            page.contains(
                "ssh-keygen -Y verify -f allowed_signers -I bench-d75a980182 -n datumtrail -s \
                 \"02 as found.json.sig\" < \"02 as found.json\"\n"
            ),
            "{page}"
        );
        assert!(!page.contains('{'), "{page}");
    }

    #[test]
    fn a_shell_reads_a_path_as_one_word() {
        assert_eq!(quoted("a/b-1.sig"), "a/b-1.sig");
        assert_eq!(quoted("a $b.sig"), "\"a \\$b.sig\"");
        assert_eq!(quoted(""), "\"\"");
    }
}
