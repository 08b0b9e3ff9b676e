//! One error for the whole crate. Few causes; each says in one sentence what to do.

/// The crate's result.
pub type Result<T> = std::result::Result<T, Error>;

/// What went wrong. `Display` is a sentence for the painter: what is the matter and what to do about it.
/// Details for a developer are behind [`std::error::Error::source`].
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum Error {
    /// The bytes are none of the picture formats that are read.
    #[error(
        "This is not a PNG, JPEG or TIFF picture. Save the scan in one of these and try again."
    )]
    NotAPicture,
    /// The file says what it is but breaks off or contradicts itself.
    #[error("The picture is damaged or cut short. Copy it again from the scanner, or scan again.")]
    Damaged(#[source] Box<dyn std::error::Error + Send + Sync>),
    /// A kind of picture that carries no measurable colour (grey, palette, CMYK, ...).
    #[error("The picture is {kind}. Scan again in colour and save as {save_as}.")]
    WrongKind {
        /// What it is, in words that follow "The picture is".
        kind: &'static str,
        /// What to save instead.
        save_as: &'static str,
    },
    /// More pixels than the stated limit.
    #[error(
        "The picture has {} megapixels; at most {limit} can be read at {bits} bits. Scan at 300 dpi, or save only the part that is needed.",
        megapixels_words(*megapixels)
    )]
    TooLarge {
        /// Size found, in millions of pixels.
        megapixels: u64,
        /// Limit for this depth.
        limit: u64,
        /// Bits per channel.
        bits: u8,
    },
    /// No striped card was found in the picture.
    #[error(
        "No card was found in this picture. The whole card must show: at least two black and two white stripes, with films across them and bare gaps between."
    )]
    NoCard,
    /// Stripes, but nothing painted across them.
    #[error(
        "The stripes were found but no paint across them. Pull one to six films across the stripes, leave bare gaps, and scan again."
    )]
    NoFilms,
    /// The layout given (corners, film edges) cannot be sampled.
    #[error("This outline cannot be read: {0}")]
    Layout(String),
    /// A pigment file, or a record from storage, is not what it should be.
    #[error("The pigment file cannot be used: {field} {reason}.")]
    PigmentFile {
        /// Where in the file, as a path such as `films[1].build`.
        field: String,
        /// What is wrong, in words that follow the field's name.
        reason: String,
    },
    /// A saved picture is not what it should be.
    #[error("The saved picture cannot be used: {field} {reason}.")]
    PictureFile {
        /// Where in it, as a path such as `films[1].build`.
        field: String,
        /// What is wrong, in words that follow the field's name.
        reason: String,
    },
    /// A copy of the shelf is not what it should be.
    #[error("The copy cannot be used: {field} {reason}.")]
    ShelfFile {
        /// Where in it, as a path such as `tubes[1].key`.
        field: String,
        /// What is wrong, in words that follow the field's name.
        reason: String,
    },
    /// What was to be changed is no longer as the painter saw it.
    #[error(
        "This was changed or deleted in another window meanwhile. Nothing was overwritten: look at it as it is now, and try again."
    )]
    ChangedElsewhere,
    /// Something that the painter gave and that cannot be used, in a whole sentence with what to do.
    #[error("{0}")]
    Refused(String),
    /// A question that this paint's constants cannot answer.
    #[error("{0}")]
    CannotPredict(String),
    /// The browser's storage takes nothing more.
    #[error(
        "The browser’s storage {doing}: there is no room left, or it gave up; free some space on the disk, or save a copy and delete what you no longer need."
    )]
    NoRoom {
        /// What it was asked to do.
        doing: &'static str,
    },
    /// Storage of the browser, files, sockets.
    #[error("{what} {doing}: {reason}")]
    Outside {
        /// What failed, for example "The browser's storage".
        what: &'static str,
        /// What it was asked to do.
        doing: &'static str,
        /// What it said.
        reason: String,
    },
}

impl Error {
    /// A short stable word for programs: the cause without its details.
    pub fn code(&self) -> &'static str {
        match self {
            Self::NotAPicture => "not-a-picture",
            Self::Damaged(_) => "damaged",
            Self::WrongKind { .. } => "wrong-kind",
            Self::TooLarge { .. } => "too-large",
            Self::NoCard => "no-card",
            Self::NoFilms => "no-films",
            Self::Layout(_) => "layout",
            Self::PigmentFile { .. } => "pigment-file",
            Self::PictureFile { .. } => "picture-file",
            Self::ShelfFile { .. } => "shelf-file",
            Self::ChangedElsewhere => "changed-elsewhere",
            Self::Refused(_) => "refused",
            Self::CannotPredict(_) => "cannot-predict",
            Self::NoRoom { .. } => "no-room",
            Self::Outside { .. } => "outside",
        }
    }
}

/// How many megapixels a file claims to have, which may be any number.
pub(crate) fn megapixels_words(megapixels: u64) -> String {
    const MANY: u64 = 10_000;
    if megapixels > MANY {
        format!("more than {MANY}")
    } else {
        megapixels.to_string()
    }
}

/// Longest piece of somebody else's text in a sentence of ours, in characters.
const LONGEST_QUOTE: usize = 160;

/// Text from a file as it may stand in a sentence: on one line, cut short, without characters that write backwards or that nobody sees.
pub(crate) fn plain(text: &str) -> String {
    let mut plain: String = text
        .chars()
        .take(LONGEST_QUOTE)
        .map(|c| if is_unseen(c) { ' ' } else { c })
        .collect();
    if text.chars().nth(LONGEST_QUOTE).is_some() {
        plain.push('…');
    }
    plain
}

/// Control characters, marks of writing direction (Unicode Standard Annex 9, table 4 to 6), and others without width.
pub(crate) fn is_unseen(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{61c}' | '\u{200b}'..='\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{feff}')
}
