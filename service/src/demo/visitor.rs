//! A visitor of web pages: opens addresses, follows links, fills in forms and keeps cookies, as a browser without
//! scripts does. It knows nothing of the service or the platform but what their pages say.
//!
//! ```no_run
//! # use service::demo::visitor::Visitor;
//! # async fn visit() -> anyhow::Result<()> {
//! let mut pupil = Visitor::new()?;
//! pupil.open("http://127.0.0.1:8700").await?;
//! let entering = pupil.page()?.form_with_button("Amaya")?;
//! pupil.submit(entering).await?;
//! pupil.follow("Open").await?;
//! assert!(pupil.page()?.says("River day"));
//! # Ok(())
//! # }
//! ```

use std::time::Duration;

use anyhow::{Context, bail};
use reqwest::StatusCode;
use reqwest::header::{ACCEPT, SET_COOKIE};
use scraper::{ElementRef, Html, Selector};
use url::Url;

/// Pages in a row that only pass on to the next one.
const MOST_PASSES: usize = 8;

/// Where a request for an address is sent in its place.
type Route = Box<dyn Fn(Url) -> Url + Send + Sync>;

/// Someone who visits pages.
pub struct Visitor {
    client: reqwest::Client,
    route: Route,
    page: Option<Page>,
    passed: Vec<Page>,
}

/// A page as it arrived.
#[derive(Debug)]
pub struct Page {
    url: Url,
    status: StatusCode,
    sets_cookies: bool,
    html: String,
}

/// A form with what is filled in.
#[derive(Debug, Clone)]
pub struct Form {
    action: Url,
    posts: bool,
    fields: Vec<(String, String)>,
}

impl Visitor {
    /// A visitor who has been nowhere yet.
    ///
    /// # Errors
    /// If no HTTP client can be set up.
    pub fn new() -> anyhow::Result<Self> {
        let client = reqwest::Client::builder()
            .cookie_store(true)
            .no_proxy()
            .timeout(Duration::from_secs(20))
            .build()?;
        Ok(Self { client, route: Box::new(std::convert::identity), page: None, passed: Vec::new() })
    }

    /// The same, whose requests go where `route` says: to one of several processes that answer for one address.
    #[must_use]
    pub fn routed(mut self, route: impl Fn(Url) -> Url + Send + Sync + 'static) -> Self {
        self.route = Box::new(route);
        self
    }

    /// The page in front of the visitor; also one that refused something.
    ///
    /// # Errors
    /// If nothing has been opened yet.
    pub fn page(&self) -> anyhow::Result<&Page> {
        self.page.as_ref().context("no page has been opened")
    }

    /// The pages that passed the visitor on to the present one, in order, forms and all.
    pub fn passed(&self) -> &[Page] {
        &self.passed
    }

    /// Opens an address.
    ///
    /// # Errors
    /// If there is no answer, or one that refuses or fails; the page then still lies in front of the visitor.
    pub async fn open(&mut self, address: &str) -> anyhow::Result<()> {
        let address = (self.route)(Url::parse(address)?);
        let answer = self.client.get(address).send().await?;
        self.arrive(answer).await
    }

    /// Follows the first link of that text.
    ///
    /// # Errors
    /// If the page has no such link, and as [`Visitor::open`].
    pub async fn follow(&mut self, text: &str) -> anyhow::Result<()> {
        let address = self.page()?.link(text)?;
        self.open(address.as_str()).await
    }

    /// Sends a form.
    ///
    /// # Errors
    /// As [`Visitor::open`].
    pub async fn submit(&mut self, form: Form) -> anyhow::Result<()> {
        let answer = self.send(form).await?;
        self.arrive(answer).await
    }

    /// Sends a form as a page's script does, asking for JSON, and stays on the page. Returns status and text of the answer.
    ///
    /// # Errors
    /// If there is no answer.
    pub async fn send_aside(&self, form: Form) -> anyhow::Result<(u16, String)> {
        let answer = self.request(form).header(ACCEPT, "application/json").send().await?;
        Ok((answer.status().as_u16(), answer.text().await?))
    }

    async fn send(&self, form: Form) -> anyhow::Result<reqwest::Response> {
        Ok(self.request(form).send().await?)
    }

    fn request(&self, form: Form) -> reqwest::RequestBuilder {
        let action = (self.route)(form.action);
        if form.posts {
            self.client.post(action).form(&form.fields)
        } else {
            self.client.get(action).query(&form.fields)
        }
    }

    /// Takes a page in, and presses the button of pages that only pass on.
    async fn arrive(&mut self, mut answer: reqwest::Response) -> anyhow::Result<()> {
        self.passed.clear();
        for _ in 0..MOST_PASSES {
            let page = Page::read(answer).await?;
            match page.form_with_button("Continue") {
                Ok(pass_on) if page.is_usable() => {
                    self.passed.push(page);
                    answer = self.send(pass_on).await?;
                }
                _ => return self.page.insert(page).expect_usable(),
            }
        }
        bail!("more than {MOST_PASSES} pages in a row only pass on")
    }
}

impl Page {
    async fn read(answer: reqwest::Response) -> anyhow::Result<Self> {
        Ok(Self {
            url: answer.url().clone(),
            status: answer.status(),
            sets_cookies: answer.headers().contains_key(SET_COOKIE),
            html: answer.text().await?,
        })
    }

    /// Whether a person can go on from here. A form that comes back with a question is a page to answer, no failure.
    fn is_usable(&self) -> bool {
        self.status.is_success() || self.status == StatusCode::UNPROCESSABLE_ENTITY
    }

    fn expect_usable(&self) -> anyhow::Result<()> {
        if self.is_usable() {
            return Ok(());
        }
        bail!("{} answered {}: {}", self.url.path(), self.status, self.gist())
    }

    /// Where the page came from.
    pub fn url(&self) -> &Url {
        &self.url
    }

    /// The HTTP status it came with, as a number.
    pub fn status(&self) -> u16 {
        self.status.as_u16()
    }

    /// Whether its answer set a cookie.
    pub fn sets_cookies(&self) -> bool {
        self.sets_cookies
    }

    /// The page as it was sent.
    pub fn html(&self) -> &str {
        &self.html
    }

    /// Whether the page shows that text.
    pub fn says(&self, text: &str) -> bool {
        self.texts("body").iter().any(|shown| shown.contains(text))
    }

    /// The texts of all elements that a CSS selector finds, with blanks folded.
    ///
    /// # Panics
    /// If the selector is malformed: selectors are written in code, not taken from outside.
    pub fn texts(&self, selector: &str) -> Vec<String> {
        let document = Html::parse_document(&self.html);
        document.select(&known(selector)).map(text_of).collect()
    }

    /// The form of the first button that begins with that text, with the button's own name, value and address.
    ///
    /// # Errors
    /// If there is no such button.
    pub fn form_with_button(&self, text: &str) -> anyhow::Result<Form> {
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
        fields.extend(form.select(&known("select[name]")).filter_map(chosen_in));
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
    pub fn gist(&self) -> String {
        self.texts("h1, h2, h3, p").join(" ")
    }
}

impl Form {
    /// What is filled in under that name.
    pub fn value(&self, name: &str) -> Option<&str> {
        self.fields.iter().find(|(known, _)| known == name).map(|(_, value)| value.as_str())
    }

    /// What is filled in, sent as `other` would be: to where that goes.
    #[must_use]
    pub fn sent_as(self, other: &Self) -> Self {
        Self { action: other.action.clone(), posts: other.posts, fields: self.fields }
    }

    /// The form with one more field filled in, in place of what stood there.
    pub fn with(mut self, name: &str, value: &str) -> Self {
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

/// Name and chosen value of a list of options: the one marked, else the first, as browsers send it.
fn chosen_in(list: ElementRef<'_>) -> Option<(String, String)> {
    let options: Vec<_> = list.select(&known("option")).collect();
    let marked = options.iter().find(|option| option.attr("selected").is_some());
    let chosen = marked.or(options.first())?;
    let value = chosen.attr("value").map_or_else(|| text_of(*chosen), str::to_owned);
    Some((list.attr("name")?.to_owned(), value))
}

/// The text of an element with blanks folded, as shown; what only voices say is left out.
fn text_of(element: ElementRef<'_>) -> String {
    let is_spoken = |element: ElementRef<'_>| element.value().classes().any(|class| class == "spoken");
    let texts = element.descendants().filter_map(|node| {
        let text = node.value().as_text()?;
        (!node.ancestors().filter_map(ElementRef::wrap).any(is_spoken)).then_some(&**text)
    });
    texts.collect::<String>().split_whitespace().collect::<Vec<_>>().join(" ")
}

fn known(selector: &str) -> Selector {
    Selector::parse(selector).expect("selectors are written in code, well-formed")
}
