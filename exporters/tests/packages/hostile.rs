//! Packages and documents made to harm their reader. Each is refused with the member or line and what is wrong, in bounded
//! time and memory: the table runs again in a process that may not take much.
use std::{
    fmt::Display,
    io::{BufReader, Cursor, Read, Write},
    process::Command,
    time::{Duration, Instant},
};

use exporters::{
    archive::reading::{ArchiveReader, MAX_MEMBERS, MAX_RATIO},
    cartridge::reading::read_document,
    results::read_results,
    xml::reading::{
        MAX_ATTRIBUTE, MAX_ATTRIBUTES, MAX_DEPTH, MAX_DOCUMENT, MAX_NAME, MAX_TEXT, Node, XmlReader,
    },
};
use zip::{CompressionMethod, ZipWriter, write::SimpleFileOptions};

/// Longest time for one case, in a build without optimisation on a busy machine.
const LONGEST: Duration = Duration::from_secs(60);
/// Address space of the process that runs the table again, in KiB.
const MEMORY: u32 = 700_000;
/// Set in that process.
const AGAIN: &str = "TENTHS_HOSTILE_AGAIN";

/// What is tried, the bytes, and what must be said of it.
struct Case {
    name: &'static str,
    bytes: Vec<u8>,
    said: String,
}

fn case(name: &'static str, bytes: impl Into<Vec<u8>>, said: impl Into<String>) -> Case {
    Case { name, bytes: bytes.into(), said: said.into() }
}

/// Reads everything in a package; the first fault, with its member.
fn package(bytes: &[u8]) -> Result<usize, String> {
    let mut archive = ArchiveReader::new(Cursor::new(bytes)).map_err(|error| error.to_string())?;
    let mut nodes = 0;
    for (index, name) in archive.names() {
        let at = |error: &dyn Display| format!("{name}, {error}");
        let member = archive.member(index).map_err(|error| at(&error))?;
        nodes += document(BufReader::new(member)).map_err(|error| at(&error))?;
    }
    Ok(nodes)
}

/// Reads a whole document; the fault, with its line.
fn document(bytes: impl std::io::BufRead) -> Result<usize, String> {
    let mut reader = XmlReader::new(bytes);
    let mut nodes = 0;
    while reader.next_node().map_err(|error| error.to_string())?.is_some() {
        nodes += 1;
    }
    Ok(nodes)
}

fn results(bytes: &[u8]) -> Result<usize, String> {
    let report = read_results(bytes).map_err(|error| error.to_string())?;
    match report.problems.first() {
        Some(problem) => Err(format!("line {}: {}", problem.line, problem.reason)),
        None => Ok(report.items.len()),
    }
}

fn cartridge(bytes: &[u8]) -> Result<usize, String> {
    let document = read_document(bytes).map_err(|error| error.to_string())?;
    match document.problems.first() {
        Some(problem) => Err(format!("line {}: {}", problem.line, problem.reason)),
        None => Ok(document.items.len()),
    }
}

/// A member written byte by byte, so that every field can lie.
#[derive(Clone)]
struct Raw {
    name: Vec<u8>,
    /// What is packed, as it stands in the archive.
    packed: Vec<u8>,
    crc: u32,
    unpacked: u32,
    method: u16,
    flags: u16,
    /// The upper half is the rights of a file as Unix has them.
    attributes: u32,
}

impl Raw {
    fn stored(name: impl AsRef<[u8]>, content: &str) -> Self {
        Self {
            name: name.as_ref().to_vec(),
            packed: content.as_bytes().to_vec(),
            crc: crc(content.as_bytes()),
            unpacked: u32::try_from(content.len()).unwrap(),
            method: 0,
            flags: 0,
            attributes: 0o100_644 << 16,
        }
    }

    fn xml(name: impl AsRef<[u8]>) -> Self {
        Self::stored(name, "<r/>")
    }

    /// The fields that the local header and the directory share.
    fn header(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        bytes.extend(20_u16.to_le_bytes());
        bytes.extend(self.flags.to_le_bytes());
        bytes.extend(self.method.to_le_bytes());
        bytes.extend([0, 0, 0x21, 0]);
        bytes.extend(self.crc.to_le_bytes());
        bytes.extend(u32::try_from(self.packed.len()).unwrap().to_le_bytes());
        bytes.extend(self.unpacked.to_le_bytes());
        bytes.extend(u16::try_from(self.name.len()).unwrap().to_le_bytes());
        bytes.extend([0, 0]);
        bytes
    }
}

fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg()))
    })
}

fn raw(members: &[Raw]) -> Vec<u8> {
    let (mut bytes, mut directory) = (Vec::new(), Vec::new());
    for member in members {
        let offset = u32::try_from(bytes.len()).unwrap();
        bytes.extend(b"PK\x03\x04");
        bytes.extend(member.header());
        bytes.extend(&member.name);
        bytes.extend(&member.packed);
        directory.extend(b"PK\x01\x02\x14\x03");
        directory.extend(member.header());
        directory.extend([0; 6]);
        directory.extend(member.attributes.to_le_bytes());
        directory.extend(offset.to_le_bytes());
        directory.extend(&member.name);
    }
    let (start, length) = (u32::try_from(bytes.len()).unwrap(), u32::try_from(directory.len()).unwrap());
    let count = u16::try_from(members.len()).unwrap();
    bytes.extend(directory);
    bytes.extend(b"PK\x05\x06\0\0\0\0");
    bytes.extend(count.to_le_bytes());
    bytes.extend(count.to_le_bytes());
    bytes.extend(length.to_le_bytes());
    bytes.extend(start.to_le_bytes());
    bytes.extend([0, 0]);
    bytes
}

/// An archive as the library writes it.
fn zipped(fill: impl FnOnce(&mut ZipWriter<Cursor<Vec<u8>>>)) -> Vec<u8> {
    let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
    fill(&mut writer);
    writer.finish().unwrap().into_inner()
}

fn deflated(members: &[(&str, &[u8])]) -> Vec<u8> {
    zipped(|zip| {
        for (name, content) in members {
            zip.start_file(
                *name,
                SimpleFileOptions::default().compression_method(CompressionMethod::Deflated),
            )
            .unwrap();
            zip.write_all(content).unwrap();
        }
    })
}

/// Bytes in which one text is replaced by another of the same length, wherever it stands.
fn patched(bytes: &[u8], from: &[u8], to: &[u8]) -> Vec<u8> {
    assert_eq!(from.len(), to.len());
    let (mut patched, mut at) = (bytes.to_vec(), 0);
    while at + from.len() <= patched.len() {
        if &patched[at..at + from.len()] == from {
            patched[at..at + from.len()].copy_from_slice(to);
        }
        at += 1;
    }
    assert_ne!(patched, bytes);
    patched
}

fn hostile_names() -> Vec<Case> {
    let named = |title, name: &str, told: &str| {
        let said = format!("'{told}' is no safe name for a member; expected a relative path");
        case(title, raw(&[Raw::xml("a.xml"), Raw::xml(name)]), said)
    };
    let long = "a".repeat(2_000);
    vec![
        named("parent", "../a.xml", "../a.xml"),
        named("parent inside", "items/../../a.xml", "items/../../a.xml"),
        named("parent at the end", "items/..", "items/.."),
        named("absolute", "/etc/a.xml", "/etc/a.xml"),
        named("drive", "C:/a.xml", "C:/a.xml"),
        named("stream", "a.xml:b", "a.xml:b"),
        named("backslash", "items\\a.xml", "items\\a.xml"),
        named("backslash parent", "..\\a.xml", "..\\a.xml"),
        named("share", "\\\\host\\a.xml", "\\\\host\\a.xml"),
        named("nothing", "", ""),
        named("empty part", "items//b.xml", "items//b.xml"),
        named("dot", "./b.xml", "./b.xml"),
        named("control character", "b\u{7}.xml", "b\u{FFFD}.xml"),
        named("zero", "b.xml\0.png", "b.xml\u{FFFD}.png"),
        named("line feed", "b\n.xml", "b\u{FFFD}.xml"),
        named("long", &long, &long[..120]),
        case(
            "twice",
            raw(&[Raw::xml("a.xml"), Raw::xml("a.xml")]),
            "two members of the archive have the same name",
        ),
        case(
            "case",
            raw(&[Raw::xml("items/a.xml"), Raw::xml("items/A.xml")]),
            "'items/A.xml' differs from another member in capital letters only",
        ),
    ]
}

fn hostile_archives() -> Vec<Case> {
    let one = raw(&[Raw::xml("a.xml")]);
    let link = Raw { attributes: 0o120_777 << 16, ..Raw::stored("link.xml", "/etc/hosts") };
    let encrypted = Raw { flags: 1, ..Raw::xml("a.xml") };
    let method = Raw { method: 99, ..Raw::xml("a.xml") };
    let checksum = Raw { crc: 7, ..Raw::xml("a.xml") };
    let shorter = Raw { unpacked: 2, ..Raw::xml("a.xml") };
    let zeros = vec![b' '; 4 << 20];
    let bomb = deflated(&[("bomb.xml", &zeros)]);
    // The directory says that the bomb is small: sizes stand in the local header and in the directory.
    let lying = patched(&bomb, &(4_u32 << 20).to_le_bytes(), &500_u32.to_le_bytes());
    let half = vec![b' '; 700 << 10];
    let many: Vec<String> = (0..40).map(|index| format!("part-{index}.xml")).collect();
    let many: Vec<(&str, &[u8])> = many.iter().map(|name| (name.as_str(), half.as_slice())).collect();
    let huge = patched(&one, &4_u32.to_le_bytes(), &3_000_000_000_u32.to_le_bytes());
    let shared = zipped(|zip| {
        zip.start_file("one.xml", SimpleFileOptions::default()).unwrap();
        zip.write_all(b"<one/>").unwrap();
        zip.shallow_copy_file("one.xml", "two.xml").unwrap();
    });
    let members: Vec<Raw> = (0..60_000).map(|index| Raw::stored(format!("{index}.xml"), "")).collect();
    let damaged = "not a readable zip archive: ";
    let mut directory = one.clone();
    let at = directory.windows(4).position(|bytes| bytes == b"PK\x01\x02").unwrap();
    directory[at] = b'X';
    let mut count = one.clone();
    let end = count.len() - 22;
    count[end + 8] = 9;
    count[end + 10] = 9;
    let mut outside = one.clone();
    outside[end + 16..end + 20].copy_from_slice(&u32::MAX.wrapping_sub(9).to_le_bytes());
    let inner = deflated(&[("a.xml", b"<r/>")]);
    vec![
        case("empty file", "", damaged),
        case("no archive", "<r/>", damaged),
        case("only a beginning", "PK\x03\x04", damaged),
        case("truncated", &one[..one.len() / 2], damaged),
        case("truncated in its end", &one[..one.len() - 5], damaged),
        case("damaged directory", directory, damaged),
        case("more members than there are", count, damaged),
        case("directory outside", outside, damaged),
        case("link", raw(&[Raw::xml("a.xml"), link]), "'link.xml' is a link; expected a plain member"),
        case("encrypted", raw(&[encrypted]), "'a.xml' is encrypted; expected a plain member"),
        case(
            "unknown packing",
            raw(&[method]),
            "a.xml, line 1: the document cannot be read: compression method not supported",
        ),
        case("checksum", raw(&[checksum]), "a.xml, line 1: the document cannot be read: "),
        case("more than it says", raw(&[shorter]), "a.xml, line 1: the document cannot be read: "),
        case("overlapping", shared, "members of the archive overlap"),
        case(
            "bomb",
            bomb,
            format!("'bomb.xml' unpacks to 4194304 bytes, more than {MAX_RATIO} times its packed size"),
        ),
        case(
            "bomb that lies",
            lying,
            "bomb.xml, line 1: the document cannot be read: File is larger than its",
        ),
        case("bomb of parts", deflated(&many), "the archive unpacks to 28672000 bytes; expected "),
        case("huge member", huge, "'a.xml' unpacks to 3000000000 bytes; expected 1073741824 at most"),
        case("empty members", raw(&members), "0.xml, line 1: not well-formed XML: there is no element"),
        case("archive inside", deflated(&[("inner.zip", &inner)]), "inner.zip, line 1: "),
        case(
            "picture as XML",
            raw(&[Raw::stored("a.xml", "\u{89}PNG\r\n")]),
            "a.xml, line 2: not well-formed XML: text outside of",
        ),
        case(
            "fault in a member",
            raw(&[Raw::stored("a.xml", "<r>\n<a></r>")]),
            "a.xml, line 2: not well-formed XML",
        ),
    ]
}

fn hostile_entities() -> Vec<Case> {
    let doctype = "line 1: a DOCTYPE is not accepted";
    let laughs = "<!DOCTYPE r [<!ENTITY a 'ha'><!ENTITY b '&a;&a;&a;&a;&a;&a;&a;&a;'><!ENTITY c '&b;&b;&b;&b;&b;&b;&b;&b;'>]><r>&c;</r>";
    vec![
        case("external entity", "<!DOCTYPE r [<!ENTITY e SYSTEM 'file:///etc/passwd'>]><r>&e;</r>", doctype),
        case("external subset", "<!DOCTYPE r SYSTEM 'http://host.example/x.dtd'><r/>", doctype),
        case("public subset", "<!DOCTYPE r PUBLIC '-//X//Y' 'http://host.example/x.dtd'><r/>", doctype),
        case(
            "parameter entity",
            "<!DOCTYPE r [<!ENTITY % p SYSTEM 'http://host.example/'> %p;]><r/>",
            doctype,
        ),
        case("internal entity", "<!DOCTYPE r [<!ENTITY e 'x'>]><r>&e;</r>", doctype),
        case("many laughs", laughs, doctype),
        case(
            "plain DOCTYPE",
            "<?xml version=\"1.0\"?>\n<!DOCTYPE r><r/>",
            "line 2: a DOCTYPE is not accepted",
        ),
        case("small DOCTYPE", "<!doctype r><r/>", "line 1: "),
        case("DOCTYPE inside", "<r>\n<!DOCTYPE r></r>", "line 2: "),
        case("unknown entity", "<r>\n&nbsp;</r>", "line 2: the entity '&nbsp;' is not accepted"),
        case("entity in an attribute", "<r a='&e;'/>", "line 1: not well-formed XML: "),
        case("open reference", "<r>&amp</r>", "line 1: not well-formed XML: "),
        case("reference to nothing", "<r>&;</r>", "line 1: "),
        case("reference to zero", "<r>&#0;</r>", "line 1: not well-formed XML: "),
        case("reference to a control character", "<r>&#x1B;</r>", "line 1: not well-formed XML: "),
        case("reference to half a character", "<r>&#xD800;</r>", "line 1: not well-formed XML: "),
        case("reference beyond all characters", "<r>&#x110000;</r>", "line 1: not well-formed XML: "),
        case("long reference", format!("<r>&#{};</r>", "9".repeat(1000)), "line 1: not well-formed XML: "),
        case("control character in an attribute", "<r a='&#x1;'/>", "line 1: not well-formed XML: "),
    ]
}

fn hostile_encodings() -> Vec<Case> {
    let wide = |big: bool, mark: bool| {
        let text = format!("{}<r/>", if mark { "\u{FEFF}" } else { "" });
        let bytes = text.encode_utf16().map(|unit| if big { unit.to_be_bytes() } else { unit.to_le_bytes() });
        bytes.flatten().collect::<Vec<u8>>()
    };
    let utf16 = "line 1: the document is declared as UTF-16 or UTF-32; expected XML 1.0 in UTF-8";
    let unreadable = "line 1: not well-formed XML: ";
    let declared = |encoding: &str| format!("<?xml version=\"1.0\" encoding=\"{encoding}\"?><r/>");
    vec![
        case("UTF-16", wide(true, true), utf16),
        case("UTF-16, low byte first", wide(false, true), utf16),
        case("UTF-16 without a mark", wide(true, false), utf16),
        case("UTF-16 without a mark, low byte first", wide(false, false), utf16),
        case(
            "latin-1 declared",
            declared("iso-8859-1"),
            "line 1: the document is declared as iso-8859-1; expected",
        ),
        case("UTF-16 declared", declared("UTF-16"), "line 1: the document is declared as UTF-16; expected"),
        case("UTF-7 declared", declared("utf-7"), "line 1: the document is declared as utf-7; expected"),
        case(
            "version 1.1",
            "<?xml version=\"1.1\"?><r/>",
            "line 1: the document is declared as XML 1.1; expected",
        ),
        case("latin-1 undeclared", b"<r>caf\xE9</r>".to_vec(), unreadable),
        case("overlong slash", b"<r>\xC0\xAF</r>".to_vec(), unreadable),
        case("half a pair", b"<r>\xED\xA0\x80</r>".to_vec(), unreadable),
        case("cut in a character", b"<r>\xE2\x82</r>".to_vec(), unreadable),
        case("invalid in a name", b"<r\xFF/>".to_vec(), unreadable),
        case("invalid in a comment", b"<r><!-- \xFF --></r>".to_vec(), unreadable),
        case("zero byte", "<r>\0</r>", "line 1: not well-formed XML: character U+0000"),
        case("escape", "<r>\n\u{1B}[2J</r>", "line 2: not well-formed XML: character U+001B"),
        case(
            "control character in a comment",
            "<r><!-- \u{1} --></r>",
            "line 1: not well-formed XML: character U+0001",
        ),
        case("no character", "<r>\u{FFFF}</r>", "line 1: not well-formed XML: character U+FFFF"),
        case("mark in the middle", "<r/>\u{FFFE}", "line 1: not well-formed XML: "),
    ]
}

fn hostile_shapes() -> Vec<Case> {
    let broken = "line 1: not well-formed XML: ";
    vec![
        case("nothing", " \n", "line 2: not well-formed XML: there is no element"),
        case("only text", "text", broken),
        case("truncated", "<r><a>", broken),
        case("truncated tag", "<r a='1", broken),
        case("two at the top", "<r/>\n<r/>", "line 2: not well-formed XML: more than one element at the top"),
        case(
            "text after the end",
            "<r/>x",
            "line 1: not well-formed XML: text outside of the element at the top",
        ),
        case("end without begin", "</r>", broken),
        case("crossed ends", "<r><a></r></a>", broken),
        case("end with another prefix", "<a:r xmlns:a='urn:a' xmlns:b='urn:a'></b:r>", broken),
        case("attribute twice", "<r a='1' a='2'/>", broken),
        case("attribute without quotes", "<r a=1/>", broken),
        case("attribute without value", "<r a/>", broken),
        case(
            "open tag in an attribute",
            "<r a='<'/>",
            "line 1: not well-formed XML: '<' inside an attribute",
        ),
        case(
            "prefix without namespace",
            "<p:r/>",
            "line 1: not well-formed XML: the prefix 'p' has no namespace",
        ),
        case(
            "attribute's prefix without namespace",
            "<r q:a='1'/>",
            "line 1: not well-formed XML: the prefix 'q' has no",
        ),
        case(
            "prefix out of scope",
            "<r><a xmlns:p='urn:p'/><p:b/></r>",
            "line 1: not well-formed XML: the prefix 'p'",
        ),
        case("xml prefix bound anew", "<r xmlns:xml='urn:x'/>", broken),
        case("comment without end", "<r><!-- ", broken),
        case("two dashes in a comment", "<r><!-- a -- b --></r>", broken),
        case("section without end", "<r><![CDATA[ x", broken),
        case(
            "section at the top",
            "<![CDATA[x]]><r/>",
            "line 1: not well-formed XML: a section outside of the element",
        ),
        case(
            "end of a section in a text",
            "<r>a]]>b</r>",
            "line 1: not well-formed XML: ']]>' inside a text",
        ),
        case(
            "section in a section",
            "<r><![CDATA[<![CDATA[x]]>]]></r>",
            "line 1: not well-formed XML: ']]>' inside a text",
        ),
        case("instruction without end", "<r><?php echo 1", broken),
        case(
            "declaration inside",
            "<r>\n<?xml version=\"1.0\"?></r>",
            "line 2: not well-formed XML: an XML declaration after",
        ),
        case(
            "declaration after a blank",
            " <?xml version=\"1.0\"?><r/>",
            "line 1: not well-formed XML: an XML declaration after",
        ),
        case(
            "declaration twice",
            "<?xml version=\"1.0\"?><?xml version=\"1.0\"?><r/>",
            "line 1: not well-formed XML: an XML",
        ),
        case("name of nothing", "<>x</>", "line 1: not well-formed XML: '' is no name"),
        case("name that begins with a digit", "<r><1/></r>", "line 1: not well-formed XML: '1' is no name"),
    ]
}

fn hostile_sizes() -> Vec<Case> {
    let attributes: String = (0..100_000).map(|index| format!(" a{index}='1'")).collect();
    let namespaces: String = (0..40).map(|index| format!(" xmlns:n{index}='urn:{index}'")).collect();
    let limit = usize::try_from(MAX_DOCUMENT).unwrap();
    vec![
        case("deep", "<a>".repeat(1_000_000), format!("line 1: elements are nested deeper than {MAX_DEPTH}")),
        case(
            "many attributes",
            format!("<r{attributes}/>"),
            format!("line 1: an element has too many attributes; expected {MAX_ATTRIBUTES} at most"),
        ),
        case(
            "huge attribute",
            format!("<r a='{}'/>", "x".repeat(8 << 20)),
            format!("line 1: an attribute has too many bytes; expected {MAX_ATTRIBUTE} at most"),
        ),
        case(
            "huge name",
            format!("<{}/>", "x".repeat(8 << 20)),
            format!("line 1: a name has too many bytes; expected {MAX_NAME} at most"),
        ),
        case(
            "huge attribute's name",
            format!("<r {}=''/>", "x".repeat(8 << 20)),
            format!("line 1: a name has too many bytes; expected {MAX_NAME} at most"),
        ),
        case(
            "huge text",
            format!("<r>\n{}</r>", "x".repeat(9 << 20)),
            format!("line 2: a text has too many bytes; expected {MAX_TEXT} at most"),
        ),
        case(
            "huge section",
            format!("<r><![CDATA[{}]]></r>", "x".repeat(9 << 20)),
            format!("line 1: a text has too many bytes; expected {MAX_TEXT} at most"),
        ),
        case(
            "many namespaces",
            format!("<a{namespaces}><b{namespaces}/></a>"),
            "line 1: too many namespaces are declared at a time; expected 64 at most",
        ),
        case(
            "huge comment",
            format!("<r><!-- {} --></r>", "x".repeat(limit)),
            "line 1: the document is longer than 16 MiB",
        ),
        case(
            "long document",
            format!("<r>{}</r>", format!("<a b='{}'/>", "x".repeat(200)).repeat(limit / 200)),
            "line 1: the document is longer than 16 MiB",
        ),
        case(
            "long after its end",
            format!("<r/>{}", " ".repeat(limit)),
            "line 1: the document is longer than 16 MiB",
        ),
        case(
            "open tag without end",
            format!("<r {}", "x ".repeat(limit / 2)),
            "line 1: the document is longer than 16 MiB",
        ),
    ]
}

fn hostile_results() -> Vec<Case> {
    let result = |content: &str| {
        format!(
            "<assessmentResult xmlns='http://www.imsglobal.org/xsd/imsqti_result_v3p0'>\n{content}</assessmentResult>"
        )
    };
    let item = |attributes: &str| result(&format!("<itemResult {attributes}/>"));
    let at = "identifier='a' datestamp='2026-03-02T09:15:00Z'";
    vec![
        case(
            "another namespace",
            "<assessmentResult xmlns='urn:x'/>",
            "line 1: found 'assessmentResult' of the namespace 'urn:x'",
        ),
        case(
            "no namespace",
            "<assessmentResult/>",
            "line 1: found 'assessmentResult' of the namespace ''; expected",
        ),
        case(
            "another document",
            "<html/>",
            "line 1: found 'html' of the namespace ''; expected 'assessmentResult'",
        ),
        case(
            "no identifier",
            item("datestamp='2026-03-02T09:15:00Z' sessionStatus='final'"),
            "line 2: the item result has no attribute 'identifier'",
        ),
        case(
            "no time",
            item("identifier='a' sessionStatus='final'"),
            "line 2: the item result has no attribute 'datestamp'",
        ),
        case(
            "impossible time",
            item("identifier='a' datestamp='2026-13-45T99:00:00Z' sessionStatus='final'"),
            "line 2: the datestamp '2026-13-45T99:00:00Z' is no time",
        ),
        case(
            "unknown status",
            item(&format!("{at} sessionStatus='done'")),
            "line 2: the session status 'done' is unknown",
        ),
        case(
            "many items",
            result(&format!("<itemResult {at} sessionStatus='final'/>\n").repeat(30_000)),
            "line 20002: there are more than 20000 item results",
        ),
        case(
            "many values",
            result(&format!(
                "<itemResult {at} sessionStatus='final'><responseVariable identifier='RESPONSE_a'><candidateResponse>{}</candidateResponse></responseVariable></itemResult>",
                "<value>1</value>".repeat(2_000)
            )),
            "line 2: the variable 'RESPONSE_a' has more than 1000 values",
        ),
    ]
}

fn hostile_cartridges() -> Vec<Case> {
    let bank = |content: &str| {
        format!(
            "<questestinterop xmlns='http://www.imsglobal.org/xsd/ims_qtiasiv1p2'><objectbank ident='b'>\n{content}</objectbank></questestinterop>"
        )
    };
    let item = |content: &str| {
        let fields = "<itemmetadata><qtimetadata><qtimetadatafield><fieldlabel>cc_profile</fieldlabel><fieldentry>cc.fib.v0p1</fieldentry></qtimetadatafield></qtimetadata></itemmetadata>";
        bank(&format!(
            "<item ident='i'>{fields}<presentation><response_str ident='r'/></presentation>{content}</item>"
        ))
    };
    let condition = |test: &str| {
        item(&format!(
            "<resprocessing><respcondition><conditionvar>{test}</conditionvar></respcondition></resprocessing>"
        ))
    };
    let good = item("");
    let twice = good.replace("</objectbank>", "\n<item ident='i'/></objectbank>");
    vec![
        case(
            "another namespace",
            "<questestinterop/>",
            "line 1: found 'questestinterop' of the namespace ''; expected",
        ),
        case(
            "two banks",
            bank("").replace("</quest", "<objectbank/></quest"),
            "line 2: found 'objectbank'; expected one 'objectbank' or one",
        ),
        case("identifier twice", twice, "line 3: the item 'i' stands here twice"),
        case("deep test", condition(&"<not>".repeat(200)), "line 2: elements are nested deeper than 64"),
        case("empty not", condition("<not/>"), "line 2: 'not' holds nothing"),
        case(
            "strange test",
            condition("<varlt respident='r'>5</varlt>"),
            "line 2: the test 'varlt' is not in the profile",
        ),
        case(
            "another response",
            condition("<varequal respident='s'>5</varequal>"),
            "line 2: a test is about a response that the item does not have",
        ),
        case("many items", bank(&"<item/>\n".repeat(30_000)), "line 20002: there are more than 20000 items"),
        case(
            "feedback twice",
            item("<itemfeedback ident='f'/><itemfeedback ident='f'/>"),
            "line 2: feedback has no 'ident' of its own",
        ),
    ]
}

/// Tries every case and tells all that are not refused as they must be.
fn check(cases: Vec<Case>, read: impl Fn(&[u8]) -> Result<usize, String>) -> usize {
    let count = cases.len();
    let failed = cases.into_iter().filter_map(|Case { name, bytes, said }| {
        let begun = Instant::now();
        let told = read(&bytes);
        let took = begun.elapsed();
        match told {
            Ok(_) => Some(format!("'{name}' was read")),
            Err(told) if !told.starts_with(&said) => Some(format!("'{name}'\n told: {told}\nwants: {said}")),
            Err(told) if told.len() > 500 => Some(format!("'{name}' is told at length: {}", told.len())),
            Err(_) if took > LONGEST => Some(format!("'{name}' took {took:?}")),
            Err(_) => None,
        }
    });
    let failed: Vec<String> = failed.collect();
    assert!(failed.is_empty(), "{}", failed.join("\n"));
    count
}

#[test]
fn every_hostile_package_and_document_is_refused_with_its_place() {
    let plain = |bytes: &[u8]| document(bytes);
    let packages = check(hostile_names(), package) + check(hostile_archives(), package);
    let documents = [hostile_entities(), hostile_encodings(), hostile_shapes(), hostile_sizes()];
    let documents: usize = documents.into_iter().map(|cases| check(cases, plain)).sum();
    let records = check(hostile_results(), results) + check(hostile_cartridges(), cartridge);
    assert!(packages >= 40 && documents >= 70 && records >= 18, "{packages} {documents} {records}");
    if std::env::var_os(AGAIN).is_none() {
        again_with_little_memory();
    }
}

/// Runs the table in a process whose memory is limited by the system, where there is such a limit.
fn again_with_little_memory() {
    let shell = Command::new("sh").args(["-c", &format!("ulimit -v {MEMORY}")]).status();
    if !shell.is_ok_and(|status| status.success()) {
        return;
    }
    let name = "hostile::every_hostile_package_and_document_is_refused_with_its_place";
    let program = std::env::current_exe().unwrap();
    let limited = Command::new("sh")
        .args(["-c", &format!("ulimit -v {MEMORY}; exec \"$0\" --exact {name} --test-threads 1")])
        .arg(program)
        .env(AGAIN, "1")
        .output()
        .unwrap();
    assert!(limited.status.success(), "{}", String::from_utf8_lossy(&limited.stdout));
}

/// What looks alike and is fine.
#[test]
fn harmless_packages_and_documents_are_read() {
    let named = ["Items/Ägypten 1.xml", "items/a..b.xml", "items/", "items/a.xml"];
    let archive =
        raw(&named.map(|name| if name.ends_with('/') { Raw::stored(name, "") } else { Raw::xml(name) }));
    assert_eq!(package(&archive), Ok(6));
    let spaces = vec![b' '; 900 << 10];
    assert!(
        package(&deflated(&[("a.xml", &[b"<r>", &spaces[..], b"</r>"].concat())])).is_ok(),
        "short enough to swell"
    );
    for text in [
        "\u{FEFF}<?xml version='1.0' encoding='utf-8' standalone='yes'?><!-- a --><?p i?><r/><!-- b -->\n",
        "<r>a] ]>b<![CDATA[]]]]><![CDATA[>]]></r>",
        "<a:r xmlns:a='urn:a' a:b='1' xml:lang='en' b='&lt;'/>",
        "<r><a xmlns:p='urn:1'><p:b/></a><a xmlns:p='urn:2'><p:b/></a></r>",
    ] {
        assert!(document(text.as_bytes()).is_ok(), "{text}: {:?}", document(text.as_bytes()));
    }
    let deep = format!("{}{}", "<a>".repeat(MAX_DEPTH), "</a>".repeat(MAX_DEPTH));
    assert_eq!(document(deep.as_bytes()), Ok(2 * MAX_DEPTH));
    let mut longer = XmlReader::limited(&b"<r>12345</r>"[..], 8);
    let last = std::iter::from_fn(|| longer.next_node().transpose()).find(Result::is_err).unwrap();
    assert_eq!(last.unwrap_err().to_string(), "line 1: the document is longer than 0 MiB");
    assert!(matches!(XmlReader::new(&b"<r/>"[..]).next_node(), Ok(Some(Node::Start(_)))));
}

#[test]
fn archives_of_many_members_are_opened_up_to_the_limit() {
    let mut bytes = Vec::new();
    zipped_into(&mut bytes, MAX_MEMBERS + 1);
    let told = ArchiveReader::new(Cursor::new(&bytes)).unwrap_err().to_string();
    assert_eq!(told, format!("the archive has {} members; expected {MAX_MEMBERS} at most", MAX_MEMBERS + 1));
}

fn zipped_into(bytes: &mut Vec<u8>, members: usize) {
    let archive = zipped(|zip| {
        for index in 0..members {
            zip.start_file(
                index.to_string(),
                SimpleFileOptions::default().compression_method(CompressionMethod::Stored),
            )
            .unwrap();
        }
    });
    archive.as_slice().read_to_end(bytes).unwrap();
}
