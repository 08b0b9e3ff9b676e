//! The picture of the card that the page shows, and the way between its places and the scan's.

use image::RgbImage;

use super::OpenScan;
use crate::{
    Error, Result,
    card::{
        Layout,
        rectify::{self, Frame},
    },
    colour,
    scan::Profile,
};

/// Width of the squared card's picture over the card itself, in pixels.
const WIDTH: u32 = 760;
/// Room around the card in that picture, in widths of the card.
const MARGIN: f64 = 0.09;
/// Longest side of the picture of a whole scan, in which no card was found.
const WHOLE: f64 = 900.0;

impl OpenScan {
    /// The picture that the page shows: the squared card with some room around it, or the whole scan where no card is known.
    ///
    /// # Errors
    /// When the corners are no quadrangle.
    pub fn picture(&self) -> Result<RgbImage> {
        let profile = &self.scan.profile;
        let shown = on_screen(profile);
        let view = self.picture_frame()?;
        let layout = self.shown_layout();
        rectify::squared(&self.scan, &layout, view.width, view.margin, shown).ok_or_else(|| {
            Error::Layout("its corners must go round the card without crossing. Drag them back to its corners.".into())
        })
    }

    /// The layout, or one that is the whole scan.
    pub(super) fn shown_layout(&self) -> Layout {
        self.card().place.layout.clone().unwrap_or_else(|| {
            let (w, h) = (self.scan.width as f64, self.scan.height as f64);
            Layout {
                corners: [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]],
                size: [w, h],
                millimetres: false,
                stripes: Vec::new(),
                films: Vec::new(),
                doubts: Vec::new(),
            }
        })
    }

    pub(super) fn picture_frame(&self) -> Result<PictureFrame> {
        let layout = self.shown_layout();
        let (width, margin) = match &self.card().place.layout {
            Some(_) => (WIDTH, MARGIN),
            None => {
                let [w, h] = layout.size;
                (
                    (w * (WHOLE / w.max(h)).min(1.0)).round().max(1.0) as u32,
                    0.0,
                )
            }
        };
        let frame = Frame::of(&layout).ok_or_else(|| {
            Error::Layout("its corners must go round the card without crossing. Drag them back to its corners.".into())
        })?;
        Ok(PictureFrame {
            frame,
            width,
            margin,
            unit: layout.size[0] / f64::from(width),
            rim: (margin * f64::from(width)).round(),
        })
    }
}

/// From the picture shown to the scan and back.
pub(super) struct PictureFrame {
    frame: Frame,
    width: u32,
    margin: f64,
    /// Layout units in a pixel of the picture.
    pub(super) unit: f64,
    /// Pixels of room around the card.
    pub(super) rim: f64,
}

impl PictureFrame {
    pub(super) fn to_scan(&self, at: [f64; 2]) -> [f64; 2] {
        self.frame.to_scan(at.map(|v| (v - self.rim) * self.unit))
    }

    pub(super) fn of_scan(&self, at: [f64; 2]) -> [f64; 2] {
        self.of_card(self.frame.to_card(at))
    }

    pub(super) fn of_card(&self, at: [f64; 2]) -> [f64; 2] {
        at.map(|v| v / self.unit + self.rim)
    }
}

/// From 16-bit codes of the scan to an sRGB screen.
fn on_screen(profile: &Profile) -> impl Fn([u16; 3]) -> [u8; 3] {
    let table = colour::ScreenTable::new(profile.to_xyz());
    move |code| table.rgb(profile.additive_of(code).map(|v| v as f32))
}
