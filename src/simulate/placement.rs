//! From a card's own mm to pixels and back.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::scene::{Card, Page};

/// A plane seen in a picture.
#[derive(Debug, Clone)]
pub struct Placement {
    to_pixels: Matrix3<f64>,
    from_pixels: Matrix3<f64>,
}

impl Placement {
    /// Page mm -> pixels.
    pub fn of_page(page: &Page) -> Self {
        let [width, height] = pixels(page).map(|n| n as f64);
        let corners = [[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]];
        let moved: [[f64; 2]; 4] = std::array::from_fn(|i| {
            std::array::from_fn(|axis| corners[i][axis] + page.perspective[i][axis] * width)
        });
        Self::from_matrix(
            homography(&corners, &moved)
                * Matrix3::from_diagonal(&Vector3::new(scale(page), scale(page), 1.0)),
        )
    }

    /// Card mm -> pixels.
    pub fn of_card(page: &Page, card: &Card) -> Self {
        let (sin, cos) = (
            libm::sin(card.rotation.to_radians()),
            libm::cos(card.rotation.to_radians()),
        );
        let (half_width, half_length) = (0.5 * card.width(), 0.5 * card.length);
        let on_page = Matrix3::new(
            cos,
            -sin,
            card.centre[0] - cos * half_width + sin * half_length,
            sin,
            cos,
            card.centre[1] - sin * half_width - cos * half_length,
            0.0,
            0.0,
            1.0,
        );
        Self::from_matrix(Self::of_page(page).to_pixels * on_page)
    }

    fn from_matrix(to_pixels: Matrix3<f64>) -> Self {
        let from_pixels = to_pixels.try_inverse().expect("a card is not seen edge-on");
        Self {
            to_pixels,
            from_pixels,
        }
    }

    /// mm -> pixels (centres at half numbers, the picture's top left corner at 0, 0).
    pub fn to_pixels(&self, at: [f64; 2]) -> [f64; 2] {
        apply(&self.to_pixels, at)
    }

    /// Pixels -> mm.
    #[inline]
    pub fn from_pixels(&self, at: [f64; 2]) -> [f64; 2] {
        apply(&self.from_pixels, at)
    }

    /// Pixels a mm, near a point in mm.
    pub fn scale_at(&self, at: [f64; 2]) -> f64 {
        let [x0, y0] = self.to_pixels(at);
        let [x1, y1] = self.to_pixels([at[0] + 0.5, at[1] + 0.5]);
        libm::hypot(x1 - x0, y1 - y0) / std::f64::consts::FRAC_1_SQRT_2
    }
}

/// Pixels across and down of a page.
pub fn pixels(page: &Page) -> [usize; 2] {
    page.size.map(|mm| (mm * scale(page)).round() as usize)
}

fn scale(page: &Page) -> f64 {
    page.dpi / 25.4
}

#[inline]
fn apply(m: &Matrix3<f64>, [x, y]: [f64; 2]) -> [f64; 2] {
    let w = m[(2, 0)] * x + m[(2, 1)] * y + m[(2, 2)];
    [
        (m[(0, 0)] * x + m[(0, 1)] * y + m[(0, 2)]) / w,
        (m[(1, 0)] * x + m[(1, 1)] * y + m[(1, 2)]) / w,
    ]
}

/// The projective map that takes four points to four others (Hartley and Zisserman 2004, 4.1: the inhomogeneous solution).
fn homography(from: &[[f64; 2]; 4], to: &[[f64; 2]; 4]) -> Matrix3<f64> {
    let mut rows = SMatrix::<f64, 8, 8>::zeros();
    let mut right = SVector::<f64, 8>::zeros();
    for (i, ([x, y], [u, v])) in from.iter().copied().zip(to.iter().copied()).enumerate() {
        rows.row_mut(2 * i)
            .copy_from_slice(&[x, y, 1.0, 0.0, 0.0, 0.0, -u * x, -u * y]);
        rows.row_mut(2 * i + 1)
            .copy_from_slice(&[0.0, 0.0, 0.0, x, y, 1.0, -v * x, -v * y]);
        right[2 * i] = u;
        right[2 * i + 1] = v;
    }
    let h = rows
        .lu()
        .solve(&right)
        .expect("no three corners lie on a line");
    Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::trials;

    #[test]
    fn corners_go_where_perspective_sends_them_and_points_come_back() {
        let mut page = trials::scene(1, 100.0).page;
        page.perspective = [[0.02, 0.01], [-0.03, 0.0], [0.01, -0.02], [0.0, 0.04]];
        let placement = Placement::of_page(&page);
        let [width, height] = pixels(&page).map(|n| n as f64);
        let corner = placement.to_pixels([width / scale(&page), 0.0]);
        assert!(
            (corner[0] - width * 0.97).abs() < 1e-9 && corner[1].abs() < 1e-9,
            "{corner:?}"
        );
        let bottom = placement.to_pixels([0.0, height / scale(&page)]);
        assert!(
            bottom[0].abs() < 1e-9 && (bottom[1] - height - 0.04 * width).abs() < 1e-9,
            "{bottom:?}"
        );
        let [x, y] = placement.from_pixels(placement.to_pixels([31.0, 77.0]));
        assert!((x - 31.0).abs() < 1e-9 && (y - 77.0).abs() < 1e-9);
    }

    #[test]
    fn a_card_turned_clockwise_has_its_right_side_lower() {
        let mut scene = trials::scene(2, 100.0);
        scene.page.perspective = [[0.0; 2]; 4];
        let card = &mut scene.cards[0];
        card.rotation = 10.0;
        let placement = Placement::of_card(&scene.page, card);
        let (left, right) = (
            placement.to_pixels([0.0, 0.0]),
            placement.to_pixels([card.width(), 0.0]),
        );
        assert!(right[1] > left[1] && right[0] > left[0]);
        let middle = placement.to_pixels([0.5 * card.width(), 0.5 * card.length]);
        let wanted = card.centre.map(|mm| mm * scale(&scene.page));
        assert!((middle[0] - wanted[0]).abs() < 1e-9 && (middle[1] - wanted[1]).abs() < 1e-9);
    }
}
