//! Words that travel inside a file: XMP (ISO 16684-1) with Dublin Core and a namespace of our own.

use std::fmt::Write;

/// Our own namespace; a name, not an address.
pub const NAMESPACE: &str = "urn:roundstop:1.0:";

/// Words that are the same for every picture of a product; an empty one is left out.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Labels {
    /// The product's name, `dc:title`.
    pub title: String,
    /// The product's stock-keeping unit, `rs:sku` and `dc:identifier`.
    pub sku: String,
    /// Who took the pictures, `dc:creator`.
    pub creator: String,
    /// Whose they are, `dc:rights`.
    pub copyright: String,
}

/// Which stop a picture shows.
#[derive(Debug, Clone, PartialEq)]
pub struct StopLabel {
    /// The stop's number in the set.
    pub stop: u32,
    /// The row's name.
    pub row: String,
    /// Its angle along the plan's direction, degrees.
    pub degrees: f64,
}

/// Writes the XMP packet of one picture; `made_from` is the key of what it was made from.
pub fn xmp_packet(labels: &Labels, stop: Option<&StopLabel>, made_from: &str) -> String {
    let mut body = String::new();
    let mut push = |text: String| {
        body.push_str(&text);
        body.push('\n');
    };
    let given = |text: &str| (!text.trim().is_empty()).then(|| escaped(text.trim()));
    if let Some(title) = given(&labels.title) {
        push(format!(
            "<dc:title><rdf:Alt><rdf:li xml:lang=\"x-default\">{title}</rdf:li></rdf:Alt></dc:title>"
        ));
    }
    if let Some(creator) = given(&labels.creator) {
        push(format!("<dc:creator><rdf:Seq><rdf:li>{creator}</rdf:li></rdf:Seq></dc:creator>"));
    }
    if let Some(rights) = given(&labels.copyright) {
        push(format!(
            "<dc:rights><rdf:Alt><rdf:li xml:lang=\"x-default\">{rights}</rdf:li></rdf:Alt></dc:rights>"
        ));
        push("<xmpRights:Marked>True</xmpRights:Marked>".to_owned());
    }
    if let Some(sku) = given(&labels.sku) {
        push(format!("<dc:identifier>{sku}</dc:identifier>"));
        push(format!("<rs:sku>{sku}</rs:sku>"));
    }
    if let Some(stop) = stop {
        push(format!("<rs:stop>{}</rs:stop>", stop.stop));
        push(format!("<rs:degrees>{}</rs:degrees>", rounded(stop.degrees)));
        if let Some(row) = given(&stop.row) {
            push(format!("<rs:row>{row}</rs:row>"));
        }
    }
    if let Some(key) = given(made_from) {
        push(format!("<rs:madeFrom>{key}</rs:madeFrom>"));
    }
    let mut packet = String::from("<?xpacket begin=\"\u{feff}\" id=\"W5M0MpCehiHzreSzNTczkc9d\"?>\n");
    packet.push_str("<x:xmpmeta xmlns:x=\"adobe:ns:meta/\">\n<rdf:RDF xmlns:rdf=\"http://www.w3.org/1999/02/22-rdf-syntax-ns#\">\n");
    let _ = writeln!(
        packet,
        "<rdf:Description rdf:about=\"\" xmlns:dc=\"http://purl.org/dc/elements/1.1/\" xmlns:xmpRights=\"http://ns.adobe.com/xap/1.0/rights/\" xmlns:rs=\"{NAMESPACE}\">"
    );
    packet.push_str(&body);
    packet.push_str("</rdf:Description>\n</rdf:RDF>\n</x:xmpmeta>\n<?xpacket end=\"w\"?>");
    packet
}

/// Degrees with at most four decimals, without trailing zeros.
pub(super) fn rounded(degrees: f64) -> String {
    let text = format!("{degrees:.4}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Makes a text safe between tags and in attributes, for XML and HTML alike; what neither may hold is left out.
pub(super) fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for letter in text.chars() {
        match letter {
            '&' => out.push_str("&amp;"),
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '"' => out.push_str("&quot;"),
            '\'' => out.push_str("&#39;"),
            '\t' | '\n' | '\r' => out.push(' '),
            // XML 1.0, production 2: no other control characters, no U+FFFE and U+FFFF.
            letter if letter < ' ' || letter == '\u{fffe}' || letter == '\u{ffff}' => {}
            letter => out.push(letter),
        }
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn text_from_outside_cannot_end_a_tag() {
        let labels = Labels { title: "Mug <\"Hedge\" & co>\u{1}".to_owned(), ..Labels::default() };
        let packet = xmp_packet(&labels, None, "");
        assert!(packet.contains("Mug &lt;&quot;Hedge&quot; &amp; co&gt;</rdf:li>"), "{packet}");
        assert!(!packet.contains("dc:creator>") && !packet.contains("rs:sku"));
    }

    #[test]
    fn degrees_are_short_and_exact() {
        assert_eq!(rounded(0.0), "0");
        assert_eq!(rounded(7.5), "7.5");
        assert_eq!(rounded(360.0 / 7.0), "51.4286");
    }
}
