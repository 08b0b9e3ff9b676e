//! Invented paints, and scans of hand-made drawdown cards drawn with them: for the sample scans, tests and benches.
//!
//! Everything here is made up and seeded: the same [`Scene`] gives the same bytes. Light is computed from spectra
//! through [`crate::film::transport`], never through the tables that the fit uses.
//!
//! 1. [`paints`]: K and S of invented paints.
//! 2. [`scene`]: a card, what lies on it, how it lies on the glass, the scanner, the file: plain data.
//! 3. [`shades`]: colours of films of any build over the card's grounds, as the scanner's sensor sees them.
//! 4. [`mod@render`]: scene -> linear picture -> troubles -> encoded pixels.
//! 5. [`encode`]: pixels -> bytes of a PNG, TIFF or JPEG with its profile and resolution.
//! 6. [`truth`]: what a reader of that file ought to find, as JSON.
//! 7. [`trials`]: random scenes over the whole range of cards that people may make; [`troubles`]: one trouble at a time.

pub mod drawn;
pub mod encode;
pub mod marks;
pub mod paints;
pub mod picture;
pub mod placement;
pub mod random;
pub mod render;
pub mod samples;
pub mod scene;
pub mod sensor;
pub mod sensors;
pub mod shades;
pub mod space;
pub mod still_life;
pub mod trials;
pub mod troubles;
pub mod truth;

pub use paints::InventedPaint;
pub use render::{Rendered, render};
pub use scene::Scene;
pub use truth::Truth;
