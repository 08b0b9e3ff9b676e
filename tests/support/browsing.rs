//! What the tests in every browser share, whatever protocol they speak with it.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use serde_json::{Value, json};

/// How long anything may take before the test gives up. Generous: no test is about speed.
pub(crate) const PATIENCE: Duration = Duration::from_secs(120);

/// A folder for what one test leaves: a browser profile, downloads. Removed at its end.
pub(crate) struct Folder(PathBuf);

impl Folder {
    pub(crate) fn new(name: &str) -> Self {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let path = Path::new(env!("CARGO_TARGET_TMPDIR"))
            .join(format!("{name}-{}-{number}", std::process::id()));
        fs::create_dir_all(&path).expect("a folder for the test");
        Self(path)
    }

    pub(crate) fn path(&self) -> &Path {
        &self.0
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // The browser's helpers may still be writing: leftovers in target/tmp harm nobody.
        let _ = fs::remove_dir_all(&self.0);
    }
}

/// Whether JavaScript takes a value for true.
pub(crate) fn truthy(value: &Value) -> bool {
    !matches!(value, Value::Null | Value::Bool(false)) && *value != json!("") && *value != json!(0)
}

/// An expression for where the middle of an element is in the window: null until the element is there, visible, on top and
/// no longer moving.
pub(crate) fn middle(selector: &str) -> String {
    format!(
        "(async () => {{ const e = document.querySelector({}); if (!e) return null;
           e.scrollIntoView({{ block: 'center', inline: 'center', behavior: 'instant' }});
           const middle = () => {{ const r = e.getBoundingClientRect();
             return r.width === 0 || r.height === 0 || e.disabled ? null : [r.x + r.width / 2, r.y + r.height / 2]; }};
           const at = middle();
           for (let frame = 0; frame < 2; frame += 1) await new Promise((next) => requestAnimationFrame(next));
           const now = middle();
           if (!at || !now || at.some((v, i) => v !== now[i])) return null;
           const top = document.elementFromPoint(...at);
           return top && (e.contains(top) || top.closest('label')?.control === e) ? at : null; }})()",
        json!(selector)
    )
}
