//! Motion JPEG: pictures one after another in one answer (`multipart/x-mixed-replace`; parts after RFC 2046).

use crate::camera::sniff;

/// How long the lines before a picture may be, bytes.
const MOST_HEADER: usize = 8 * 1024;

/// Looks for the first whole picture as bytes come in.
#[derive(Debug, Default)]
pub(super) struct Parts {
    /// Where the first picture begins, once its header has passed.
    starts: Option<usize>,
    /// How far its end has been looked for.
    searched: usize,
}

impl Parts {
    /// Gives the first picture once it is whole.
    ///
    /// The part's stated length is not trusted: the picture's own end mark counts.
    pub fn first_jpeg(&mut self, bytes: &[u8]) -> Result<Option<Vec<u8>>, String> {
        let starts = match self.starts {
            Some(starts) => starts,
            None => match header_end(bytes) {
                Some(starts) => {
                    self.searched = starts;
                    *self.starts.insert(starts)
                }
                None if bytes.len() > MOST_HEADER => {
                    return Err("the stream does not begin with the lines that part its pictures".to_owned());
                }
                None => return Ok(None),
            },
        };
        let Some(picture) = bytes.get(starts..) else { return Ok(None) };
        if picture.len() >= 3 && !picture.starts_with(&[0xff, 0xd8, 0xff]) {
            return Err("the stream's first part is no JPEG".to_owned());
        }
        // Walking the picture is worth it only when a possible end mark has come.
        let news = bytes.get(self.searched.saturating_sub(1)..).unwrap_or_default();
        let ends = news.windows(2).any(|pair| pair == [0xff, 0xd9]);
        self.searched = bytes.len();
        if !ends {
            return Ok(None);
        }
        Ok(sniff::jpeg_end(picture).and_then(|end| picture.get(..end)).map(<[u8]>::to_vec))
    }
}

/// The first byte after a part's header: behind its boundary line and the first empty line.
fn header_end(bytes: &[u8]) -> Option<usize> {
    let boundary = bytes.windows(2).position(|pair| pair == b"--")?;
    let after = bytes.get(boundary..)?;
    let crlf = after.windows(4).position(|four| four == b"\r\n\r\n").map(|at| at + 4);
    let lf = after.windows(2).position(|two| two == b"\n\n").map(|at| at + 2);
    let end = match (crlf, lf) {
        (Some(crlf), Some(lf)) => crlf.min(lf),
        (one, other) => one.or(other)?,
    };
    Some(boundary + end)
}
