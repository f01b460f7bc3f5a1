//! HTTP/1.1 messages on a raw connection, read by their `Content-Length`: as little work as can be, so that the machine's
//! time goes to the servers that are measured.

use anyhow::{Context as _, bail, ensure};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::TcpStream;

/// What ends the head of a message (RFC 9112, section 2.1).
const END_OF_HEAD: &[u8] = b"\r\n\r\n";

/// A connection on which one message follows the other.
pub(crate) struct Messages {
    stream: TcpStream,
    buffer: Vec<u8>,
    /// How much of the buffer the message took that was given out last.
    given: usize,
}

/// A message that was read in full.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Message<'a> {
    /// First line and header fields.
    pub(crate) head: &'a str,
    /// The content.
    pub(crate) body: &'a [u8],
}

impl Messages {
    pub(crate) fn on(stream: TcpStream) -> Self {
        // Without it small answers wait for each other. A connection that refuses it is only slower.
        let _ = stream.set_nodelay(true);
        Self { stream, buffer: Vec::with_capacity(64 * 1024), given: 0 }
    }

    pub(crate) async fn send(&mut self, message: &[u8]) -> anyhow::Result<()> {
        Ok(self.stream.write_all(message).await?)
    }

    /// The next message; none where the other side has ended the connection between two of them.
    pub(crate) async fn next(&mut self) -> anyhow::Result<Option<Message<'_>>> {
        self.buffer.drain(..self.given);
        self.given = 0;
        let mut looked_at: usize = 0;
        let head = loop {
            let from = looked_at.saturating_sub(END_OF_HEAD.len() - 1);
            let found =
                self.buffer[from..].windows(END_OF_HEAD.len()).position(|window| window == END_OF_HEAD);
            if let Some(place) = found {
                break from + place + END_OF_HEAD.len();
            }
            looked_at = self.buffer.len();
            if self.stream.read_buf(&mut self.buffer).await? == 0 {
                ensure!(self.buffer.is_empty(), "the connection ended within a head");
                return Ok(None);
            }
        };
        let length = content_length(std::str::from_utf8(&self.buffer[..head])?)?;
        while self.buffer.len() < head + length {
            ensure!(
                self.stream.read_buf(&mut self.buffer).await? > 0,
                "the connection ended within a message"
            );
        }
        self.given = head + length;
        let (head, body) = self.buffer[..self.given].split_at(head);
        Ok(Some(Message { head: std::str::from_utf8(head)?, body }))
    }
}

fn content_length(head: &str) -> anyhow::Result<usize> {
    let mut length = 0;
    for (name, value) in fields(head) {
        if name.eq_ignore_ascii_case("content-length") {
            length = value.parse().with_context(|| format!("content-length {value:?}"))?;
        } else if name.eq_ignore_ascii_case("transfer-encoding") {
            bail!("a message in chunks, where one of known length was expected");
        }
    }
    Ok(length)
}

/// The header fields of a head.
fn fields(head: &str) -> impl Iterator<Item = (&str, &str)> {
    let lines = head.split("\r\n").skip(1);
    lines.filter_map(|line| line.split_once(':')).map(|(name, value)| (name, value.trim()))
}

impl<'a> Message<'a> {
    /// The header fields.
    pub(crate) fn fields(self) -> impl Iterator<Item = (&'a str, &'a str)> {
        fields(self.head)
    }

    /// The first value of a header field.
    pub(crate) fn field(self, wanted: &str) -> anyhow::Result<&'a str> {
        let found = self.fields().find(|(name, _)| name.eq_ignore_ascii_case(wanted));
        found.map(|(_, value)| value).with_context(|| format!("no {wanted} in {:?}", self.head))
    }

    /// The cookie of that name, as a browser would send it back: `name=value`.
    pub(crate) fn cookie(self, name: &str) -> anyhow::Result<&'a str> {
        let set = self.fields().filter(|(field, _)| field.eq_ignore_ascii_case("set-cookie"));
        let mut pairs = set.filter_map(|(_, value)| value.split(';').next());
        let found = pairs.find(|pair| pair.split_once('=').is_some_and(|(known, _)| known == name));
        found.with_context(|| format!("no cookie {name} in {:?}", self.head))
    }

    /// The status of an answer.
    pub(crate) fn status(self) -> anyhow::Result<u16> {
        let status = self.head.split(' ').nth(1).and_then(|status| status.parse().ok());
        status.with_context(|| format!("no status in {:?}", self.head))
    }

    /// The content as text.
    pub(crate) fn text(self) -> anyhow::Result<&'a str> {
        Ok(std::str::from_utf8(self.body)?)
    }
}
