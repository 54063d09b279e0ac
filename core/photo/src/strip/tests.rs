use super::*;

#[test]
fn kinds_that_may_hold_anything_anywhere_are_refused() {
    let tiff = b"II*\0\x08\0\0\0\0\0\0\0\0\0";
    assert!(matches!(
        strip(tiff, LeaveOut::ALL),
        Err(StripError::Kind { kind: Kind::Tiff })
    ));
    let video = b"\0\0\0\x10ftypisom\0\0\0\0";
    assert!(matches!(
        strip(video, LeaveOut::ALL),
        Err(StripError::Kind { kind: Kind::Mp4 })
    ));
    assert!(matches!(
        strip(b"text", LeaveOut::ALL),
        Err(StripError::Meta(_))
    ));
    let text = strip(tiff, LeaveOut::ALL).unwrap_err().to_string();
    assert!(
        text.contains("TIFF") && text.contains("leave it out"),
        "{text}"
    );
}

#[test]
fn a_file_that_was_cut_off_is_not_copied() {
    let cut = b"\xFF\xD8\xFF\xFE\x00\x04hi\xFF\xDA\x00\x02data";
    assert!(matches!(
        strip(cut, LeaveOut::ALL),
        Err(StripError::Meta(MetaError::Truncated { .. }))
    ));
}
