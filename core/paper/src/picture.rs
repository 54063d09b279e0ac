//! JPEGs, taken as they are.

use std::sync::Arc;

use krilla::image::Image;

use crate::Error;

/// A picture for a paper. Its bytes go into the PDF unchanged; cloning it is cheap.
#[derive(Clone, Debug)]
pub struct Picture {
    pub(crate) image: Image,
    pub width: u32,
    pub height: u32,
}

impl Picture {
    /// A JPEG, grey or colour, shown as its pixels lie: whoever has an orientation in Exif turns
    /// it before.
    ///
    /// # Errors
    /// [`Error::Picture`] if it is none, or not of a kind that PDF/A takes as it is.
    pub fn jpeg(bytes: Vec<u8>) -> Result<Self, Error> {
        match components(&bytes) {
            Some(1 | 3) => {}
            Some(n) => {
                let why = format!("a JPEG of {n} components needs a colour profile");
                return Err(Error::Picture(why));
            }
            None => return Err(Error::Picture("it is not a whole JPEG".into())),
        }
        // PDF/A does not allow pictures to be smoothed.
        let interpolate = false;
        let data: Arc<dyn AsRef<[u8]> + Send + Sync> = Arc::new(bytes);
        let image = Image::from_jpeg(data.into(), interpolate).map_err(Error::Picture)?;
        let (width, height) = image.size();
        if width == 0 || height == 0 {
            return Err(Error::Picture("it has no pixels".into()));
        }
        Ok(Self {
            image,
            width,
            height,
        })
    }

    /// Its size in a room: as large as fits.
    pub(crate) fn fitted(&self, width: f32, height: f32) -> (f32, f32) {
        let (w, h) = (self.width as f32, self.height as f32);
        let scale = (width / w).min(height / h);
        (w * scale, h * scale)
    }
}

/// Colour components by the frame header, if it is one that PDF readers decode (ISO 32000-1,
/// 7.4.8: baseline, extended and progressive Huffman frames of 8 bits).
fn components(jpeg: &[u8]) -> Option<u8> {
    let mut at = 2;
    if jpeg.get(..2)? != [0xff, 0xd8] {
        return None;
    }
    loop {
        while *jpeg.get(at + 1)? == 0xff {
            at += 1;
        }
        let (start, marker) = (*jpeg.get(at)?, *jpeg.get(at + 1)?);
        if start != 0xff {
            return None;
        }
        let length = usize::from(u16::from_be_bytes([*jpeg.get(at + 2)?, *jpeg.get(at + 3)?]));
        match marker {
            0xc0..=0xc2 => {
                let bits = *jpeg.get(at + 4)?;
                return (bits == 8).then_some(*jpeg.get(at + 9)?);
            }
            0xc3 | 0xc5..=0xcf if !matches!(marker, 0xc4 | 0xc8 | 0xcc) => return None,
            0xd9 | 0xda => return None,
            _ => at += 2 + length.max(2),
        }
    }
}
