//! The optics of paint films in optical contact with what lies below, seen at 45:0 with the gloss excluded.
//!
//! | module | what | for |
//! |---|---|---|
//! | [`surface`] | paint-to-air surface (Saunderson) | measured <-> internal reflectance |
//! | [`transport`] | exact light transport, adding-doubling | the table, stacks, tests |
//! | [`table`] | one film, tabulated from [`transport`] | the fit and every single-film prediction |
//! | [`two_flux`] | Kubelka-Munk | the textbook comparison, direct mixes |
//!
//! A stack of films is three numbers a band: over a Lambertian ground of internal reflectance rho it is seen as
//! `A + B rho / (1 - C rho)`, exactly. See [`Response`].

mod dense;
pub mod surface;
pub mod table;
pub mod transport;
pub mod two_flux;

/// How a stack of films answers any ground at one band: `seen = a + b rho / (1 - c rho)`.
///
/// `a` is the colour over a ground that returns nothing, `b` the light that crosses the stack twice, `c` the share of
/// light leaving the ground that the stack sends back to it.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Response {
    /// Seen over an ideal black ground, 0 to 1.
    pub a: f64,
    /// Two-way transmission, surface included.
    pub b: f64,
    /// Return to the ground, 0 to 1.
    pub c: f64,
}

impl Response {
    /// What is seen (45:0 radiance factor, gloss excluded) over a ground of internal reflectance `rho`.
    #[inline]
    pub fn over(&self, rho: f64) -> f64 {
        self.a + self.b * rho / (1.0 - self.c * rho)
    }
}
