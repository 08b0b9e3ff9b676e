//! Files of JSON that come from anywhere: checked as a whole before anything is taken out of them.

use serde::{Deserialize, de::DeserializeOwned, de::IgnoredAny};
use serde_json::value::RawValue;

use crate::{Error, Result, error::plain};

/// Deepest nesting of one of our files. One inside another then stays below the 128 at which JSON's reader stops by itself.
pub(crate) const DEEPEST: usize = 60;

/// One kind of file of our own.
pub(crate) struct Kind {
    /// Value of its field `format`.
    pub(crate) format: &'static str,
    /// Newest version that is read.
    pub(crate) version: u32,
    /// Largest file, in bytes.
    pub(crate) largest: usize,
    /// Deepest nesting.
    pub(crate) deepest: usize,
    /// What is wrong with one: the field, and why, in words that follow its name and end with what to do.
    pub(crate) refused: fn(String, String) -> Error,
}

/// What every such file says first of all.
#[derive(Deserialize)]
struct Head<'a> {
    #[serde(borrow)]
    format: Option<&'a RawValue>,
    #[serde(borrow)]
    version: Option<&'a RawValue>,
}

/// What to do with a file that cannot be used.
pub(crate) const AGAIN: &str = "Save it again where it came from, or choose another file";

impl Kind {
    /// A refusal whose field and reason may quote the file: cut short, and without characters that would spoil the sentence.
    pub(crate) fn refuse(&self, field: &str, reason: &str) -> Error {
        (self.refused)(plain(field), format!("{}. {AGAIN}", plain(reason)))
    }

    /// Reads a file: whole JSON, an object, not nested without end, of this kind and a version that is known. In this order, so
    /// that another kind of file or a newer one gets that said, not its first odd field.
    pub(crate) fn read<T: DeserializeOwned>(&self, text: &str) -> Result<T> {
        let whole = |error: serde_json::Error| {
            self.refuse("the file", &format!("is not whole JSON ({error})"))
        };
        if text.len() > self.largest {
            let reason = format!("is larger than {} MB", self.largest >> 20);
            return Err(self.refuse("the file", &reason));
        }
        let text = text.strip_prefix('\u{feff}').unwrap_or(text);
        if depth(text) > self.deepest {
            let reason = format!("is nested more than {} deep", self.deepest);
            return Err(self.refuse("the file", &reason));
        }
        serde_json::from_str::<IgnoredAny>(text).map_err(whole)?;
        if !text.trim_ascii_start().starts_with('{') {
            return Err(self.refuse("the file", "is JSON but not an object"));
        }
        let head: Head = serde_json::from_str(text).map_err(whole)?;
        let format = head.format.map(RawValue::get);
        if format
            .and_then(|raw| serde_json::from_str::<String>(raw).ok())
            .as_deref()
            != Some(self.format)
        {
            let reason = format!(
                "is not \"{}\", so this is another kind of file",
                self.format
            );
            return Err(self.refuse("format", &reason));
        }
        match head.version.and_then(|raw| raw.get().parse::<u64>().ok()) {
            Some(v) if v == u64::from(self.version) => {}
            Some(v) if v > u64::from(self.version) => {
                let reason = format!(
                    "is {v}; this program reads up to {}. Use a newer program",
                    self.version
                );
                return Err((self.refused)("version".into(), reason));
            }
            _ => return Err(self.refuse("version", "is not a version number of this format")),
        }
        let mut reader = serde_json::Deserializer::from_str(text);
        serde_path_to_error::deserialize(&mut reader).map_err(|error| {
            let path = error.path().to_string();
            let field = if path == "." { "the file" } else { &path };
            self.refuse(field, &format!("is wrong ({})", error.inner()))
        })
    }
}

/// How deep lists and objects are nested, without reading them.
pub(crate) fn depth(text: &str) -> usize {
    let (mut now, mut most, mut quoted, mut escaped) = (0_usize, 0, false, false);
    for byte in text.bytes() {
        match (quoted, byte) {
            (true, _) if escaped => escaped = false,
            (true, b'\\') => escaped = true,
            (_, b'"') => quoted = !quoted,
            (false, b'[' | b'{') => {
                now += 1;
                most = most.max(now);
            }
            (false, b']' | b'}') => now = now.saturating_sub(1),
            _ => {}
        }
    }
    most
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn depth_counts_lists_and_objects_outside_texts() {
        for (text, deep) in [
            ("", 0),
            ("3", 0),
            ("[]", 1),
            ("{\"a\": [[1], {}]}", 3),
            ("[\"[[[[\", \"\\\"[[\", \"\\\\\", [2]]", 2),
            ("]]]][", 1),
        ] {
            assert_eq!(depth(text), deep, "{text}");
        }
        assert_eq!(depth(&"[".repeat(1_000_000)), 1_000_000);
    }
}
