//! One request and its answer: bounded in size, time and redirects.

use std::io::{ErrorKind, Read};
use std::path::Path;
use std::time::{Duration, Instant};

use ureq::http::{HeaderMap, StatusCode, header};
use url::Url;

use super::address::{HttpAddress, LOGIN_VARIABLE, shown};
use super::{HttpOptions, stream};
use crate::camera::CameraError;
use crate::camera::sniff::{self, PictureKind};
use crate::cancel::CancelToken;

/// How often a camera may send on to another address.
const MOST_REDIRECTS: u32 = 5;
/// How long the line to the camera may take to open.
const CONNECT: Duration = Duration::from_secs(10);
/// Bytes taken at once.
const CHUNK: usize = 64 * 1024;

/// A whole picture.
#[derive(Debug)]
pub(super) struct Picture {
    pub bytes: Vec<u8>,
    pub kind: PictureKind,
    /// Whether it is one of a stream that has no end.
    pub streamed: bool,
}

/// Makes the client: no proxy, since cameras are on one's own network, and no redirects of its own.
pub(super) fn agent() -> ureq::Agent {
    let tls = ureq::tls::TlsConfig::builder().root_certs(ureq::tls::RootCerts::PlatformVerifier).build();
    ureq::Agent::config_builder()
        .tls_config(tls)
        .proxy(None)
        .max_redirects(0)
        .max_redirects_will_error(false)
        .http_status_as_error(false)
        .timeout_connect(Some(CONNECT))
        // A kept line may be half dead by the next stop.
        .max_idle_connections(0)
        .user_agent("Roundstop")
        .accept("image/*, multipart/x-mixed-replace")
        .build()
        .new_agent()
}

/// Asks for one picture, following redirects.
pub(super) fn get(
    agent: &ureq::Agent,
    address: &HttpAddress,
    options: &HttpOptions,
    cancel: &CancelToken,
) -> Result<Picture, CameraError> {
    let started = Instant::now();
    let mut url = address.url().clone();
    for _ in 0..=MOST_REDIRECTS {
        let left = options.timeout.saturating_sub(started.elapsed()).max(Duration::from_millis(1));
        let mut request = agent.get(url.as_str()).config().timeout_global(Some(left)).build();
        let login = address.login_for(&url);
        if let Some(login) = login {
            request = request.header(header::AUTHORIZATION, login);
        }
        let response = request.call().map_err(|error| said(error, &url, options))?;
        let status = response.status();
        if matches!(status.as_u16(), 301 | 302 | 303 | 307 | 308) {
            url = next(&url, response.headers())?;
            continue;
        }
        if !status.is_success() {
            return Err(refused(status, response.headers(), login.is_some(), &url));
        }
        return body(response, &url, options, cancel);
    }
    Err(CameraError::Failed(format!(
        "{address} sends on to another address more than {MOST_REDIRECTS} times; open it in a browser and use the address it ends at"
    )))
}

/// Where a redirect leads; never from an encrypted line to an open one.
fn next(url: &Url, headers: &HeaderMap) -> Result<Url, CameraError> {
    let failed = |what: &str| CameraError::Failed(format!("{} {what}", shown(url)));
    let place = headers.get(header::LOCATION).and_then(|place| place.to_str().ok());
    let place = place.and_then(|place| url.join(place).ok());
    let place = place.ok_or_else(|| failed("sends on to an address that cannot be read"))?;
    match (url.scheme(), place.scheme()) {
        ("https", "http") => Err(failed(
            "sends on to an unencrypted address, which is refused; use the http:// address yourself if you trust the network",
        )),
        (_, "http" | "https") if place.has_host() => Ok(place),
        _ => Err(failed("sends on to something that is no web address")),
    }
}

fn refused(status: StatusCode, headers: &HeaderMap, had_login: bool, url: &Url) -> CameraError {
    let asks = headers.get_all(header::WWW_AUTHENTICATE).iter().filter_map(|value| value.to_str().ok());
    let only_digest = {
        let asks: Vec<String> = asks.map(str::to_lowercase).collect();
        !asks.is_empty() && asks.iter().all(|ask| ask.starts_with("digest"))
    };
    let why = match status.as_u16() {
        401 if only_digest => {
            "asks for digest authentication, which is not known here; allow basic authentication in the camera's settings"
                .to_owned()
        }
        401 | 403 if had_login => "does not accept this name and password; check them".to_owned(),
        401 | 403 => format!(
            "asks for a name and password; write http://NAME:PASSWORD@… or set {LOGIN_VARIABLE}=NAME:PASSWORD"
        ),
        404 => "has nothing at this address; check the part after the host".to_owned(),
        code => format!(
            "answers {code} {} instead of a picture; look at the camera",
            status.canonical_reason().unwrap_or_default()
        ),
    };
    CameraError::Failed(format!("{} {why}", shown(url)))
}

/// Reads the answer's body: a picture, or the first whole one of a stream.
fn body(
    response: ureq::http::Response<ureq::Body>,
    url: &Url,
    options: &HttpOptions,
    cancel: &CancelToken,
) -> Result<Picture, CameraError> {
    let too_big = || {
        CameraError::Failed(format!(
            "{} sends more than {} MB, which is no picture; check the address",
            shown(url),
            options.limit_bytes / 1_000_000
        ))
    };
    let stated = response.body().content_length();
    if stated.is_some_and(|bytes| bytes > options.limit_bytes) {
        return Err(too_big());
    }
    let says_stream = response
        .headers()
        .get(header::CONTENT_TYPE)
        .and_then(|kind| kind.to_str().ok())
        .is_some_and(|kind| kind.trim_start().to_lowercase().starts_with("multipart/"));
    let mut reader = response.into_body().into_reader();
    let mut bytes = Vec::new();
    let mut chunk = vec![0; CHUNK];
    let mut parts = stream::Parts::default();
    let is_stream = |bytes: &[u8]| says_stream || bytes.starts_with(b"--");
    loop {
        if cancel.is_cancelled() {
            return Err(CameraError::Cancelled);
        }
        let count =
            reader.read(&mut chunk).map_err(|error| broken(error, url, options, bytes.len(), stated))?;
        if count == 0 {
            break;
        }
        bytes.extend_from_slice(chunk.get(..count).unwrap_or_default());
        if bytes.len() as u64 > options.limit_bytes {
            return Err(too_big());
        }
        if is_stream(&bytes)
            && let Some(frame) = parts.first_jpeg(&bytes).map_err(|reason| bad(url, reason))?
        {
            return Ok(Picture { bytes: frame, kind: PictureKind::Jpeg, streamed: true });
        }
    }
    if is_stream(&bytes) {
        return Err(bad(url, "the stream ended before a whole picture came".to_owned()));
    }
    if bytes.trim_ascii_start().starts_with(b"<") {
        let reason = "it is a web page; open it in a browser and look for the picture's own address";
        return Err(bad(url, reason.to_owned()));
    }
    let kind =
        sniff::inspect(&bytes, Path::new(url.path())).map_err(|reason| bad(url, reason.to_string()))?;
    Ok(Picture { bytes, kind, streamed: false })
}

fn bad(url: &Url, reason: String) -> CameraError {
    CameraError::BadFile { file: format!("what {} sent", shown(url)), reason }
}

/// A body that broke off.
fn broken(
    error: std::io::Error,
    url: &Url,
    options: &HttpOptions,
    got: usize,
    stated: Option<u64>,
) -> CameraError {
    let of = stated.map(|bytes| format!(" of {bytes}")).unwrap_or_default();
    match ureq::Error::from(error) {
        ureq::Error::Timeout(_) => CameraError::NoFrame {
            from: shown(url),
            secs: options.timeout.as_secs_f64(),
            detail: format!(": {got}{of} bytes came; check the network, or allow more time"),
        },
        _ => CameraError::Failed(format!(
            "{} closed the line after {got}{of} bytes; check the network",
            shown(url)
        )),
    }
}

/// An error without an answer, in plain words and without anything secret.
fn said(error: ureq::Error, url: &Url, options: &HttpOptions) -> CameraError {
    let at = shown(url);
    let tls = |reason: &str| {
        CameraError::Failed(format!(
            "no secure line to {at} ({reason}); check that it speaks https, that its certificate is one this computer trusts, and both clocks"
        ))
    };
    match error {
        ureq::Error::Timeout(_) => CameraError::NoFrame {
            from: at,
            secs: options.timeout.as_secs_f64(),
            detail: "; check that the camera is on and on this network".to_owned(),
        },
        ureq::Error::HostNotFound => CameraError::Lost(format!("no computer answers to the name in {at}")),
        ureq::Error::Rustls(error) => tls(&error.to_string()),
        ureq::Error::Tls(reason) => tls(reason),
        ureq::Error::Io(error) => match error.kind() {
            ErrorKind::ConnectionRefused => {
                CameraError::Lost(format!("{at} refuses the connection; is its picture server on?"))
            }
            ErrorKind::InvalidData if url.scheme() == "https" => tls(&error.to_string()),
            _ => CameraError::Lost(format!("{at}: {error}")),
        },
        ureq::Error::Protocol(_) => {
            CameraError::Failed(format!("{at} does not speak HTTP; check the address and the port"))
        }
        ureq::Error::BadUri(_) => CameraError::BadSetup(format!("{at} is no address a camera can have")),
        other => CameraError::Failed(format!("{at}: {other}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn to(from: &str, place: &str) -> Result<String, String> {
        let mut headers = HeaderMap::new();
        headers.insert(header::LOCATION, place.parse().unwrap());
        let next = next(&from.parse().unwrap(), &headers);
        next.map(|url| url.to_string()).map_err(|error| error.to_string())
    }

    #[test]
    fn a_redirect_never_leaves_an_encrypted_line() {
        assert_eq!(to("http://a.example/x/y", "z").unwrap(), "http://a.example/x/z");
        assert_eq!(to("http://a.example/", "https://b.example/").unwrap(), "https://b.example/");
        assert_eq!(to("https://a.example/", "//b.example/p").unwrap(), "https://b.example/p");
        let refused = to("https://a.example/?key=hush", "http://a.example/?key=hush").unwrap_err();
        assert!(refused.contains("unencrypted") && !refused.contains("hush"), "{refused}");
        assert!(to("http://a.example/", "file:///etc/hosts").is_err());
        assert!(to("http://a.example/", "http://").is_err());
    }
}
