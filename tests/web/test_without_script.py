"""A browser without scripts can do the job too, slower."""

from __future__ import annotations

from playwright.sync_api import Browser, expect

from workbench import Bench


def test_a_check_is_answered(browser: Browser, bench: Bench) -> None:
    context = browser.new_context(base_url=bench.url, java_script_enabled=False)
    page = context.new_page()
    page.goto("/new")
    page.get_by_label("What the customer says").fill("Left rear is down every morning.")
    page.get_by_role("radio", name="Rear pair").check()
    page.get_by_role("button", name="Start the job").click()
    expect(page.get_by_role("heading", level=1)).to_be_visible()
    job = page.url.rpartition("/")[2]
    page.goto(f"/jobs/{job}/checks/story.when-low%40left")
    page.get_by_role("button", name="is low after a night").click()
    page.wait_for_url(f"**/jobs/{job}")
    assert [e.check for e in bench.desk.open(job).job.entries] == ["story.when-low@left"]
    context.close()
