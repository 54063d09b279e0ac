//! What can be wrong with a seal.

/// Why something can't be sealed, or a seal does not hold.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum SealError {
    #[error(
        "the number {number} can't be sealed: canonical JSON (RFC 8785) would round it; write it as a \
         text"
    )]
    NumberTooLarge { number: String },
    #[error("the value can't be written as canonical JSON: {why}")]
    NotCanonical { why: String },
    #[error("the signature could not be made: {why}")]
    NotSigned { why: String },
    #[error("this is no signature: {why}; get the file again from who made it")]
    NotASignature { why: String },
    #[error(
        "the signature was made for «{found}», not for «{expected}»: it says nothing about a \
         repair"
    )]
    OtherNamespace {
        found: String,
        expected: &'static str,
    },
    #[error(
        "the signature does not fit: the content was changed after it was signed, or the signature \
         belongs to something else"
    )]
    DoesNotFit,
    #[error(
        "the content is signed by the key {key}, which the list of allowed signers does not have: \
         find out whose it is before you rely on it"
    )]
    UnknownSigner { key: String },
    #[error("line {line} of the list of allowed signers can't be understood: {why}")]
    BadAllowedLine { line: usize, why: String },
}
