//! A visitor of web pages: opens addresses, follows links, fills in forms and keeps cookies, as a browser without
//! scripts does. It knows nothing of the service or the platform but what their pages say.

use std::time::Duration;

use anyhow::{Context, bail};
use scraper::{ElementRef, Html, Selector};
use url::Url;

/// Pages in a row that only pass on to the next one.
const MOST_PASSES: usize = 8;

/// Someone who visits pages.
pub(super) struct Visitor {
    client: reqwest::Client,
    page: Option<Page>,
}

/// A page as it arrived.
pub(super) struct Page {
    url: Url,
    html: String,
}

/// A form with what is filled in.
#[derive(Debug, Clone)]
pub(super) struct Form {
    action: Url,
    posts: bool,
    fields: Vec<(String, String)>,
}

impl Visitor {
    pub(super) fn new() -> anyhow::Result<Self> {
        let client = reqwest::Client::builder()
            .cookie_store(true)
            .no_proxy()
            .timeout(Duration::from_secs(20))
            .build()?;
        Ok(Self { client, page: None })
    }

    /// The page in front of the visitor.
    pub(super) fn page(&self) -> anyhow::Result<&Page> {
        self.page.as_ref().context("no page has been opened")
    }

    /// Opens an address.
    pub(super) async fn open(&mut self, address: &str) -> anyhow::Result<()> {
        let answer = self.client.get(address).send().await?;
        self.arrive(answer).await
    }

    /// Follows the first link of that text.
    pub(super) async fn follow(&mut self, text: &str) -> anyhow::Result<()> {
        let address = self.page()?.link(text)?;
        self.open(address.as_str()).await
    }

    /// Sends a form.
    pub(super) async fn submit(&mut self, form: Form) -> anyhow::Result<()> {
        let answer = self.send(form).await?;
        self.arrive(answer).await
    }

    async fn send(&self, form: Form) -> anyhow::Result<reqwest::Response> {
        let request = if form.posts {
            self.client.post(form.action).form(&form.fields)
        } else {
            self.client.get(form.action).query(&form.fields)
        };
        Ok(request.send().await?)
    }

    /// Takes a page in, and presses the button of pages that only pass on.
    async fn arrive(&mut self, mut answer: reqwest::Response) -> anyhow::Result<()> {
        for _ in 0..MOST_PASSES {
            let (url, status) = (answer.url().clone(), answer.status());
            let page = Page { url, html: answer.text().await? };
            if !status.is_success() {
                bail!("{} answered {status}: {}", page.url.path(), page.gist());
            }
            match page.form_with_button("Continue") {
                Ok(pass_on) => answer = self.send(pass_on).await?,
                Err(_) => {
                    self.page = Some(page);
                    return Ok(());
                }
            }
        }
        bail!("more than {MOST_PASSES} pages in a row only pass on")
    }
}

impl Page {
    /// Whether the page shows that text.
    pub(super) fn says(&self, text: &str) -> bool {
        self.texts("body").iter().any(|shown| shown.contains(text))
    }

    /// The texts of all elements that a CSS selector finds.
    pub(super) fn texts(&self, selector: &str) -> Vec<String> {
        let document = Html::parse_document(&self.html);
        document.select(&known(selector)).map(text_of).collect()
    }

    /// The form of the first button that begins with that text, with the button's own name, value and address.
    pub(super) fn form_with_button(&self, text: &str) -> anyhow::Result<Form> {
        let document = Html::parse_document(&self.html);
        for form in document.select(&known("form")) {
            let button = form.select(&known("button")).find(|button| text_of(*button).starts_with(text));
            if let Some(button) = button {
                return self.form(form, button);
            }
        }
        bail!("{} has no button '{text}'", self.url.path())
    }

    fn form(&self, form: ElementRef<'_>, button: ElementRef<'_>) -> anyhow::Result<Form> {
        let mut fields: Vec<(String, String)> =
            form.select(&known("input[name]")).filter_map(filled_in).collect();
        if let Some(name) = button.attr("name") {
            fields.push((name.to_owned(), button.attr("value").unwrap_or_default().to_owned()));
        }
        let action = button.attr("formaction").or(form.attr("action")).unwrap_or_default();
        let posts = form.attr("method").is_some_and(|method| method.eq_ignore_ascii_case("post"));
        Ok(Form { action: self.url.join(action)?, posts, fields })
    }

    fn link(&self, text: &str) -> anyhow::Result<Url> {
        let document = Html::parse_document(&self.html);
        let link = document.select(&known("a[href]")).find(|link| text_of(*link) == text);
        let address = link.and_then(|link| link.attr("href"));
        let address = address.with_context(|| format!("{} has no link '{text}'", self.url.path()))?;
        Ok(self.url.join(address)?)
    }

    /// Headings and paragraphs, for telling what went wrong.
    pub(super) fn gist(&self) -> String {
        self.texts("h1, h2, h3, p").join(" ")
    }
}

impl Form {
    /// The form with one more field filled in, in place of what stood there.
    pub(super) fn with(mut self, name: &str, value: &str) -> Self {
        self.fields.retain(|(known, _)| known != name);
        self.fields.push((name.to_owned(), value.to_owned()));
        self
    }
}

/// Name and value of an input that would be sent: not an unticked choice.
fn filled_in(input: ElementRef<'_>) -> Option<(String, String)> {
    let ticked = !matches!(input.attr("type"), Some("radio" | "checkbox")) || input.attr("checked").is_some();
    let value = input.attr("value").unwrap_or_default();
    ticked.then(|| Some((input.attr("name")?.to_owned(), value.to_owned())))?
}

/// The text of an element with blanks folded, as shown.
fn text_of(element: ElementRef<'_>) -> String {
    element.text().flat_map(str::split_whitespace).collect::<Vec<_>>().join(" ")
}

fn known(selector: &str) -> Selector {
    Selector::parse(selector).expect("selectors in this module are written well")
}
