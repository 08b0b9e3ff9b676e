//! The program itself, serving the page on a free port.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::Mutex;

/// A running `twoground serve`.
pub(crate) struct Server {
    child: Child,
    /// Such as `http://127.0.0.1:40123`.
    pub(crate) origin: String,
}

impl Server {
    /// Starts it, which builds the page first where that is not done, and waits for its address.
    pub(crate) fn start() -> Self {
        // One build at a time.
        static BUILD: Mutex<()> = Mutex::new(());
        let guard = BUILD
            .lock()
            .unwrap_or_else(|poisoned| poisoned.into_inner());
        let mut child = Command::new(env!("CARGO_BIN_EXE_twoground"))
            .args(["serve", "--port", "0", "--no-open"])
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .spawn()
            .expect("the program starts");
        let mut line = String::new();
        BufReader::new(child.stdout.take().expect("its output"))
            .read_line(&mut line)
            .expect("its output in UTF-8");
        drop(guard);
        let origin = line
            .trim()
            .strip_prefix("Two Grounds is at ")
            .map(str::to_owned);
        match origin {
            Some(origin) => Self { child, origin },
            None => {
                let _ = child.kill();
                panic!("the program gave no address; what it said instead is above");
            }
        }
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
