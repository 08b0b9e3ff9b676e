//! Plain drawings of cards for this module's tests: flat colours in encoded numbers, no optics.

use crate::scan::{Origin, Pixels, Profile, Scan};

/// A film: from and to along the stripes at the card's middle, slope, and its colours over white and over black.
#[derive(Clone, Copy)]
pub(super) struct Band {
    pub(super) from: f64,
    pub(super) to: f64,
    pub(super) slope: f64,
    pub(super) over: [[f32; 3]; 2],
}

/// A card. Lengths in mm; stripes begin at `margin` from the card's left and top edge, the first one black.
#[derive(Clone)]
pub(super) struct Card {
    pub(super) centre: [f64; 2],
    pub(super) degrees: f64,
    pub(super) widths: Vec<f64>,
    pub(super) length: f64,
    pub(super) margin: f64,
    pub(super) films: Vec<Band>,
}

/// A page with cards on it.
pub(super) struct Scene {
    pub(super) size: [f64; 2],
    pub(super) dpi: f64,
    pub(super) lid: [f32; 3],
    pub(super) cards: Vec<Card>,
    pub(super) noise: f32,
}

pub(super) const WHITE: [f32; 3] = [0.93, 0.92, 0.9];
pub(super) const BLACK: [f32; 3] = [0.2, 0.2, 0.21];
/// A milky blue, a clear yellow that hardly shows, and a white that hides: over white, over black.
pub(super) const BLUE: [[f32; 3]; 2] = [[0.45, 0.6, 0.8], [0.28, 0.33, 0.42]];
pub(super) const FAINT: [[f32; 3]; 2] = [[0.93, 0.915, 0.875], [0.2, 0.2, 0.205]];
pub(super) const HIDING: [[f32; 3]; 2] = [[0.96, 0.96, 0.96], [0.955, 0.955, 0.955]];

impl Card {
    /// Five stripes of 10 mm, 100 mm long, with films 15 mm wide.
    pub(super) fn of(films: &[[[f32; 3]; 2]]) -> Self {
        let band = |(i, &over)| {
            let from = 10.0 + 25.0 * i as f64;
            Band {
                from,
                to: from + 15.0,
                slope: 0.0,
                over,
            }
        };
        let films: Vec<Band> = films.iter().enumerate().map(band).collect();
        let length = 20.0 + 25.0 * films.len().max(2) as f64 - 10.0;
        Self {
            centre: [75.0, 75.0],
            degrees: 0.0,
            widths: vec![10.0; 5],
            length,
            margin: 8.0,
            films,
        }
    }

    pub(super) fn width(&self) -> f64 {
        self.widths.iter().sum()
    }

    /// Position on the stripes (from their top left corner) of a position on the page.
    fn place(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        let (sine, cosine) = self.degrees.to_radians().sin_cos();
        let (dx, dy) = (x - self.centre[0], y - self.centre[1]);
        [
            cosine * dx + sine * dy + self.width() / 2.0,
            cosine * dy - sine * dx + self.length / 2.0,
        ]
    }

    /// Position on the page of a position on the stripes.
    pub(super) fn page(&self, [u, v]: [f64; 2]) -> [f64; 2] {
        let (sine, cosine) = self.degrees.to_radians().sin_cos();
        let (du, dv) = (u - self.width() / 2.0, v - self.length / 2.0);
        [
            cosine * du - sine * dv + self.centre[0],
            sine * du + cosine * dv + self.centre[1],
        ]
    }

    fn colour(&self, [u, v]: [f64; 2]) -> Option<[f32; 3]> {
        let (width, margin) = (self.width(), self.margin);
        if u < -margin || v < -margin || u > width + margin || v > self.length + margin {
            return None;
        }
        let mut right = 0.0;
        let index = self.widths.iter().position(|w| {
            right += w;
            u < right
        });
        let black = u >= 0.0 && v >= 0.0 && v <= self.length && index.is_some_and(|i| i % 2 == 0);
        let reach = u > -0.6 * margin && u < width + 0.6 * margin;
        let film = self.films.iter().find(|f| {
            let v = v - f.slope * (u - width / 2.0);
            reach && v > f.from && v < f.to
        });
        Some(match film {
            Some(f) => f.over[usize::from(black)],
            None => {
                if black {
                    BLACK
                } else {
                    WHITE
                }
            }
        })
    }
}

impl Scene {
    /// One card on a grey lid, 150 dpi.
    pub(super) fn of(card: Card) -> Self {
        Self {
            size: [150.0, 150.0],
            dpi: 150.0,
            lid: [0.6; 3],
            cards: vec![card],
            noise: 0.01,
        }
    }

    /// Pixels per mm.
    pub(super) fn scale(&self) -> f64 {
        self.dpi / 25.4
    }

    /// Draws the page with nine looks a pixel.
    pub(super) fn scan(&self) -> Scan {
        let [width, height] = self.size.map(|s| (s * self.scale()) as usize);
        let mut pixels = Vec::with_capacity(3 * width * height);
        let mut random = Random(1);
        for y in 0..height {
            for x in 0..width {
                let mut sum = [0.0_f32; 3];
                for k in 0..9 {
                    let at =
                        |i: usize, k: usize| (i as f64 + (k as f64 + 0.5) / 3.0) / self.scale();
                    let colour = self.colour([at(x, k % 3), at(y, k / 3)]);
                    for c in 0..3 {
                        sum[c] += colour[c] / 9.0;
                    }
                }
                pixels.extend(
                    sum.map(|v| {
                        ((v + self.noise * random.next()).clamp(0.0, 1.0) * 65535.0) as u16
                    }),
                );
            }
        }
        scan([width, height], pixels, Some(self.dpi))
    }

    fn colour(&self, at: [f64; 2]) -> [f32; 3] {
        self.cards
            .iter()
            .find_map(|c| c.colour(c.place(at)))
            .unwrap_or(self.lid)
    }
}

/// A scan from bare pixels.
pub(super) fn scan([width, height]: [usize; 2], pixels: Vec<u16>, dpi: Option<f64>) -> Scan {
    let origin = Origin {
        file_name: "drawn by a test".into(),
        format: "PNG",
        depth: 16,
        profile: String::new(),
        profile_assumed: true,
        dpi,
        reoriented: false,
        camera: false,
        lossy: false,
        notes: Vec::new(),
    };
    Scan {
        width,
        height,
        pixels: Pixels::Sixteen(pixels),
        profile: Profile::srgb(),
        origin,
    }
}

/// Noise of mean 0 and sd about 1 (sum of uniform numbers from a linear congruential generator; Knuth, TAOCP 2, 3.3.4).
pub(super) struct Random(pub(super) u64);

impl Random {
    pub(super) fn next(&mut self) -> f32 {
        let mut sum = 0.0;
        for _ in 0..3 {
            self.0 = self
                .0
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            sum += (self.0 >> 40) as f32 / (1_u64 << 24) as f32;
        }
        2.0 * (sum - 1.5)
    }
}
