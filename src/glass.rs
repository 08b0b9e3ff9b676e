//! Under glass: films of kept paints over a photo or scan of the dry painting.
//!
//! Everything that costs is done for the nodes of a table over the picture's own colours; pixels are looked up between them.
//!
//! | module | what |
//! |---|---|
//! | [`painting`] | the photographed painting, every pixel in one coding, and what it is in XYZ |
//! | [`grounds`] | the spectrum below the surface at every node of the table |
//! | [`table`] | films over those grounds: one table for every build that is needed, and pixels through them |
//! | [`mask`] | where films lie and where they run out |
//! | [`light`] | exposure, white and uneven light, from places of known colour; what a picture does not tell |
//! | [`render`] | rows of pixels for the screen and for a file |
//! | [`strip`] | some rows with their areas: one worker's share |
//! | [`lost`] | where the drawing is lost |
//! | [`out`] | the glazed picture as a file |
//! | [`small`] | a reduced copy of the painting as a file |
//! | [`plain`] | the same, slowly: the full model for one pixel |

pub mod grounds;
pub mod light;
pub mod lost;
pub mod mask;
pub mod out;
pub mod painting;
pub mod plain;
pub mod render;
pub mod small;
pub mod strip;
pub mod table;

pub use grounds::Grounds;
pub use painting::Painting;
pub use strip::Strip;
pub use table::Family;
