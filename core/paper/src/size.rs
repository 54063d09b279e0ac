//! Paper sizes and margins.

/// A sheet of paper, upright.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Size {
    /// 210 by 297 mm (ISO 216).
    #[default]
    A4,
    /// 8.5 by 11 inches (ANSI/ASME Y14.1).
    Letter,
}

/// Millimetres as points.
pub const fn mm(length: f32) -> f32 {
    length * 72.0 / 25.4
}

impl Size {
    /// Width and height, points.
    pub const fn points(self) -> (f32, f32) {
        match self {
            Size::A4 => (mm(210.0), mm(297.0)),
            Size::Letter => (612.0, 792.0),
        }
    }

    /// The room within the margins, points.
    pub const fn room(self) -> (f32, f32) {
        let frame = self.frame();
        (frame.width(), frame.height())
    }

    pub(crate) const fn frame(self) -> Frame {
        let (width, height) = self.points();
        Frame {
            page: (width, height),
            left: SIDE,
            right: width - SIDE,
            top: TOP,
            bottom: height - BOTTOM,
        }
    }
}

/// The margins: wide enough for a punch and a thumb, and for what runs in them.
const SIDE: f32 = mm(20.0);
const TOP: f32 = mm(25.0);
const BOTTOM: f32 = mm(22.0);

/// Where the text of a page may stand.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Frame {
    pub page: (f32, f32),
    pub left: f32,
    pub right: f32,
    pub top: f32,
    pub bottom: f32,
}

impl Frame {
    pub const fn width(&self) -> f32 {
        self.right - self.left
    }

    pub const fn height(&self) -> f32 {
        self.bottom - self.top
    }
}
