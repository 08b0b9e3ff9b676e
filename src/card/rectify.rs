//! Squaring a card: from positions on the card to pixels of the scan and back, and a picture of the squared card.

use image::{Rgb, RgbImage};
use nalgebra::{Matrix3, Vector3};

use super::Layout;
use crate::scan::Scan;

/// The projective map between a squared card and a scan.
///
/// Card positions are in units of [`Layout::size`]: first across the stripes from the left edge, then along them from
/// the top. Scan positions are in pixels of the upright scan, pixel centres at half numbers.
#[derive(Debug, Clone, PartialEq)]
pub struct Frame {
    to_scan: Matrix3<f64>,
    to_card: Matrix3<f64>,
}

impl Frame {
    /// From four corners in the scan (top left, top right, bottom right, bottom left of the squared card) and the
    /// card's width and height. `None` unless the corners are a convex quadrangle, clockwise on screen, and both sizes are positive.
    ///
    /// Heckbert, "Fundamentals of texture mapping and image warping", 1989, section 2.2.3.
    pub fn new(corners: &[[f64; 2]; 4], size: [f64; 2]) -> Option<Self> {
        let finite = corners.iter().flatten().chain(&size).all(|v| v.is_finite());
        if !finite || size[0] <= 0.0 || size[1] <= 0.0 || !convex(corners) {
            return None;
        }
        let [[x0, y0], [x1, y1], [x2, y2], [x3, y3]] = *corners;
        let (sx, sy) = (x0 - x1 + x2 - x3, y0 - y1 + y2 - y3);
        let (dx1, dy1, dx2, dy2) = (x1 - x2, y1 - y2, x3 - x2, y3 - y2);
        let area = dx1 * dy2 - dx2 * dy1;
        let (g, h) = ((sx * dy2 - dx2 * sy) / area, (dx1 * sy - sx * dy1) / area);
        let unit = Matrix3::new(
            x1 - x0 + g * x1,
            x3 - x0 + h * x3,
            x0,
            y1 - y0 + g * y1,
            y3 - y0 + h * y3,
            y0,
            g,
            h,
            1.0,
        );
        let to_scan =
            unit * Matrix3::from_diagonal(&Vector3::new(1.0 / size[0], 1.0 / size[1], 1.0));
        Some(Self {
            to_scan,
            to_card: to_scan.try_inverse()?,
        })
    }

    /// The frame of a layout; `None` if its corners are no convex quadrangle.
    pub fn of(layout: &Layout) -> Option<Self> {
        Self::new(&layout.corners, layout.size)
    }

    /// Pixel of the scan that shows a position on the card.
    pub fn to_scan(&self, [u, v]: [f64; 2]) -> [f64; 2] {
        project(&self.to_scan, u, v)
    }

    /// Position on the card that a pixel of the scan shows.
    pub fn to_card(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        project(&self.to_card, x, y)
    }
}

fn project(m: &Matrix3<f64>, x: f64, y: f64) -> [f64; 2] {
    let p = m * Vector3::new(x, y, 1.0);
    [p.x / p.z, p.y / p.z]
}

/// Whether every corner turns the same way, clockwise on screen, by more than rounding.
fn convex(corners: &[[f64; 2]; 4]) -> bool {
    (0..4).all(|i| {
        let [a, b, c] = [corners[i], corners[(i + 1) % 4], corners[(i + 2) % 4]];
        let (ab, bc) = ([b[0] - a[0], b[1] - a[1]], [c[0] - b[0], c[1] - b[1]]);
        ab[0] * bc[1] - ab[1] * bc[0] > 1e-6
    })
}

/// A picture of the squared card to look at, `width` pixels wide over the card itself, with a margin around it that is
/// `margin` times the card's width on every side.
///
/// Every pixel is the mean of the scan over its own area, as a 16-bit code ([`Scan::code`]); `colour` turns that code into
/// what is shown (for a scan in sRGB, the same divided by 257). Beyond the scan's border lies neutral grey.
/// `None` if the corners are no convex quadrangle or `width` is 0.
pub fn squared(
    scan: &Scan,
    layout: &Layout,
    width: u32,
    margin: f64,
    colour: impl Fn([u16; 3]) -> [u8; 3],
) -> Option<RgbImage> {
    let frame = Frame::of(layout)?;
    if width == 0 || !(0.0..=10.0).contains(&margin) {
        return None;
    }
    let unit = layout.size[0] / f64::from(width);
    let rim = (margin * f64::from(width)).round();
    let [columns, rows] = layout
        .size
        .map(|s| ((s / unit).round() + 2.0 * rim).max(1.0));
    // A card much longer than wide would ask for an absurd picture.
    if rows * columns > 64e6 {
        return None;
    }
    let mut picture = RgbImage::new(columns as u32, rows as u32);
    // Top left corners of the picture's pixels in the scan, one more at the end.
    let corners = |row: u32| -> Vec<[f64; 2]> {
        let v = (f64::from(row) - rim) * unit;
        let u = (0..=columns as u32).map(|column| (f64::from(column) - rim) * unit);
        u.map(|u| frame.to_scan([u, v])).collect()
    };
    let mut above = corners(0);
    for (j, row) in picture.rows_mut().enumerate() {
        let below = corners(j as u32 + 1);
        for ((pixel, pair), under) in row.zip(above.windows(2)).zip(&below) {
            *pixel = Rgb(mean(scan, pair[0], pair[1], *under).map_or([128; 3], &colour));
        }
        above = below;
    }
    Some(picture)
}

/// Mean code of the scan over one pixel of the picture, whose corners lie at `origin`, to the `right` of it and `under`
/// it; `None` where none of it lies in the scan.
#[inline]
fn mean(scan: &Scan, origin: [f64; 2], right: [f64; 2], under: [f64; 2]) -> Option<[u16; 3]> {
    // Over one pixel no perspective is to be seen: places inside it lie evenly between its corners.
    let [right, down] = [right, under].map(|[x, y]| [x - origin[0], y - origin[1]]);
    // About one look per scan pixel, but at most 4 by 4.
    let span = (right[0] + down[0]).abs().max((right[1] + down[1]).abs());
    let looks = (span as usize).clamp(1, 4);
    let size = [scan.width, scan.height];
    if looks == 1 {
        let at = [0, 1].map(|axis: usize| origin[axis] + 0.5 * (right[axis] + down[axis]));
        let inside = (0..2).all(|axis| at[axis] >= 0.0 && at[axis] < size[axis] as f64);
        return inside.then(|| interpolated(scan, at[0], at[1]));
    }
    // Of several pixels it matters little where exactly each is looked at: whole numbers of 1/65536 of a pixel.
    let step = 65_536.0 / looks as f64;
    let [right, down] = [right, down].map(|edge| edge.map(|v| (v * step) as i64));
    let first = [0, 1].map(|axis: usize| {
        (origin[axis] * 65_536.0).floor() as i64 + (right[axis] + down[axis]) / 2
    });
    let (mut sum, mut count) = ([0_u32; 3], 0_u32);
    for j in 0..looks as i64 {
        for i in 0..looks as i64 {
            let at = [0, 1].map(|axis: usize| {
                usize::try_from((first[axis] + i * right[axis] + j * down[axis]) >> 16)
            });
            if let [Ok(x), Ok(y)] = at
                && x < size[0]
                && y < size[1]
            {
                let code = scan.code(x, y);
                (0..3).for_each(|c| sum[c] += u32::from(code[c]));
                count += 1;
            }
        }
    }
    (count > 0).then(|| sum.map(|s| ((s + count / 2) / count) as u16))
}

/// Code between pixel centres (bilinear); the border's within half a pixel of the border.
fn interpolated(scan: &Scan, x: f64, y: f64) -> [u16; 3] {
    let split = |t: f64, size: usize| {
        let t = (t - 0.5).clamp(0.0, (size - 1) as f64);
        (
            t as usize,
            (t as usize + 1).min(size - 1),
            (t - t.floor()) as f32,
        )
    };
    let ((x0, x1, fx), (y0, y1, fy)) = (split(x, scan.width), split(y, scan.height));
    let [a, b, c, d] = [
        scan.code(x0, y0),
        scan.code(x1, y0),
        scan.code(x0, y1),
        scan.code(x1, y1),
    ]
    .map(|code| code.map(f32::from));
    std::array::from_fn(|k| {
        let upper = a[k] + (b[k] - a[k]) * fx;
        let lower = c[k] + (d[k] - c[k]) * fx;
        (upper + (lower - upper) * fy + 0.5) as u16
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::scan::{Origin, Pixels, Profile};

    const CORNERS: [[f64; 2]; 4] = [[10.0, 20.0], [110.0, 25.0], [105.0, 225.0], [5.0, 210.0]];

    fn layout(corners: [[f64; 2]; 4], size: [f64; 2]) -> Layout {
        Layout {
            corners,
            size,
            millimetres: true,
            stripes: vec![],
            films: vec![],
            doubts: vec![],
        }
    }

    #[test]
    fn corners_map_to_corners_and_back() {
        let frame = Frame::new(&CORNERS, [50.0, 100.0]).unwrap();
        for (corner, card) in
            CORNERS
                .into_iter()
                .zip([[0.0, 0.0], [50.0, 0.0], [50.0, 100.0], [0.0, 100.0]])
        {
            let (scan, back) = (frame.to_scan(card), frame.to_card(corner));
            for k in 0..2 {
                assert!((scan[k] - corner[k]).abs() < 1e-9 && (back[k] - card[k]).abs() < 1e-9);
            }
        }
    }

    #[test]
    fn straight_lines_stay_straight() {
        let frame = Frame::new(&CORNERS, [50.0, 100.0]).unwrap();
        let [a, b, c] = [10.0, 40.0, 90.0].map(|v| frame.to_scan([20.0, v]));
        let bend = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        assert!(bend.abs() < 1e-6);
    }

    #[test]
    fn only_convex_quadrangles_are_frames() {
        let mut crossed = CORNERS;
        crossed.swap(0, 1);
        let mut dented = CORNERS;
        dented[2] = [40.0, 60.0];
        let flat = [[0.0, 0.0], [1.0, 0.0], [2.0, 0.0], [3.0, 0.0]];
        for corners in [crossed, dented, flat, [[f64::NAN; 2]; 4]] {
            assert!(Frame::new(&corners, [1.0, 1.0]).is_none());
        }
        assert!(Frame::new(&CORNERS, [0.0, 1.0]).is_none());
    }

    #[test]
    fn the_squared_picture_shows_the_card_upright() {
        // A scan whose left half is dark, read as a card lying on its side: the dark half comes to the top.
        let pixels = (0..40 * 40)
            .flat_map(|i| [if i % 40 < 20 { 0 } else { 255 }; 3])
            .collect();
        let origin = Origin {
            file_name: String::new(),
            format: "PNG",
            depth: 8,
            profile: String::new(),
            profile_assumed: true,
            dpi: None,
            reoriented: false,
            camera: false,
            lossy: false,
            notes: Vec::new(),
        };
        let scan = Scan {
            width: 40,
            height: 40,
            pixels: Pixels::Eight(pixels),
            profile: Profile::srgb(),
            origin,
        };
        let lying = layout(
            [[0.0, 40.0], [0.0, 0.0], [40.0, 0.0], [40.0, 40.0]],
            [10.0, 10.0],
        );
        let show = |c: [u16; 3]| c.map(|v| (v / 257) as u8);
        let picture = squared(&scan, &lying, 20, 0.1, show).unwrap();
        assert_eq!(picture.dimensions(), (24, 24));
        assert_eq!(picture.get_pixel(12, 4).0, [0; 3]);
        assert_eq!(picture.get_pixel(12, 20).0, [255; 3]);
        assert_eq!(picture.get_pixel(0, 12).0, [128; 3]);
        assert!(squared(&scan, &lying, 0, 0.1, show).is_none());
    }
}
