"""Script in whatever people can write: no page runs it, and every page shows it as the words it is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from phone import Phone, Served

HOSTILE = "<img src=x onerror=window.hit=1><script>window.hit=2</script>{{7*7}}'\"><svg onload=alert(3)>"
ENTRIES = """async (hostile) => {
  const { job } = document.getElementById("job").dataset;
  const fields = [...new Set([...document.querySelectorAll("[data-field]")].map((node) => node.dataset.field))];
  const acts = [...document.querySelectorAll("[data-act]")].map((node) => node.dataset.act);
  const id = () => crypto.randomUUID();
  const at = new Date().toISOString();
  const entries = [
    ...fields.map((field) => ({ id: id(), at, kind: "wrote", data: { field, value: hostile } })),
    ...acts.map((act) => ({ id: id(), at, kind: "did", data: { act, test: "before", done: true, reason: hostile } })),
    { id: id(), at, kind: "noted", data: { text: hostile } },
    { id: id(), at, kind: "closed", data: { reason: hostile } },
  ];
  const answers = [];
  for (const entry of entries) {
    const answer = await fetch(`/jobs/${job}/entries`, { method: "POST", body: JSON.stringify({ entries: [entry] }),
      headers: { "Content-Type": "application/json",
                 "X-CSRF-Token": document.querySelector('meta[name="csrf"]').content } });
    answers.push(answer.status);
  }
  return answers;
}"""

SHOWN = """(hostile) => document.body.innerText.includes(hostile)
  || [...document.querySelectorAll("input, textarea")].some((node) => node.value.includes(hostile))"""


def fill_forms(phone: Phone, address: str) -> int:
    """Send each form of a page with the words in every field that takes text; return how many there are."""
    page = phone.page
    page.goto(address)
    forms = page.locator('main form[method="post"]:has(input[type=text], input:not([type]), textarea)').count()
    for number in range(forms):
        page.goto(address)
        form = page.locator('main form[method="post"]:has(input[type=text], input:not([type]), textarea)').nth(number)
        form.evaluate(
            """(form, hostile) => {
              form.noValidate = true;
              for (const node of form.querySelectorAll("input, textarea"))
                if (["text", "search", "textarea", "tel"].includes(node.type)) node.value = hostile;
            }""",
            HOSTILE,
        )
        with page.expect_navigation():
            form.evaluate("(form) => form.requestSubmit()")
        unharmed(phone)
    return int(forms)


def unharmed(phone: Phone) -> None:
    assert phone.page.evaluate("window.hit") is None, phone.page.url


def test_no_script_of_a_customer_runs_anywhere(phone: Callable[..., Phone], served: Served) -> None:
    ann = phone()
    ann.missing_is_expected = True  # forms with such words are refused, and the browser logs it
    dialogs: list[Any] = []
    ann.page.on("dialog", lambda dialog: (dialogs.append(dialog.message), dialog.dismiss()))
    job = ann.new_job()
    answers = ann.page.evaluate(ENTRIES, HOSTILE)
    assert set(answers) == {200}
    sent = sum(
        fill_forms(ann, address)
        for address in (
            "/settings",
            "/ledger/open?kind=supplier",
            "/ledger/move",
            "/ledger/weigh?name=New+1",
            "/people",
        )
    )
    assert sent >= 4
    shown = 0
    for address in (
        job,
        f"{job}?test=after",
        f"{job}/service",
        f"{job}/compare",
        f"{job}/history",
        "/",
        "/?search=%3Cscript%3E",
        "/vehicles",
        "/ledger",
        "/ledger/labels",
        "/ledger/account?name=Supplier",
        "/people/record",
        "/settings",
        "/calculators/charge?label_charge=" + HOSTILE.replace("<", "%3C").replace("#", ""),
        "/" + HOSTILE,
    ):
        ann.page.goto(address)
        unharmed(ann)
        shown += ann.page.evaluate(SHOWN, HOSTILE[:40])
    assert shown >= 5  # as words
    assert dialogs == []
    ann.page.goto(job)
    ann.open_stage("vehicle")
    assert ann.value("vehicle.label") == HOSTILE
    ann.page.get_by_role("link", name="History").click()
    assert HOSTILE in ann.page.locator("main").inner_text()
    report = ann.context.request.get(f"{served.address}{job}/report.pdf")
    assert report.status == 200
