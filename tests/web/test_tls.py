"""The command that opens the shop over https, and what a browser may keep of it; without a browser."""

import contextlib
import http.client
import http.cookiejar
import re
import signal
import socket
import ssl
import subprocess
import sys
import urllib.error
import urllib.parse
import urllib.request
from pathlib import Path

import pytest
from made_laptop import free_port, once_up
from made_pages import seen

from proofpatch.cli import main
from proofpatch.shop.door import set_passphrase
from proofpatch.shop.store import Store
from proofpatch.web.door import COOKIE
from proofpatch.web.offline import KEEP, worker_text


@contextlib.contextmanager
def ended(server):
    """A shop that is told to end, whatever the test found."""
    try:
        yield
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(60)  # a connection left open holds it up for no longer than 5 s; else for ever


def test_it_opens_over_https_and_shows_beside_it_how_to_trust_it(tmp_path):
    program, port = Path(sys.executable).with_name("proofpatch"), free_port(2)
    words = [program, "serve", "--folder", tmp_path / "shop", "--port", str(port), "--tls"]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server, ended(server):
        said = ""  # a machine with an address that is not private says so first
        while line := server.stdout.readline():
            said += line
            if "The shop is open at" in line:
                break
        assert f"The shop is open at https://localhost:{port}/" in said
        trust = re.search(r"http://127\.0\.0\.1:\d+/trust", said)[0]
        shown = re.search(r"SHA-256: ([0-9A-F:]{95})", said)[1]
        trusts = ssl.create_default_context(cafile=tmp_path / "shop" / "tls" / "authority.pem")
        home = f"https://localhost:{port}/"
        with once_up(lambda: urllib.request.urlopen(home, timeout=60, context=trusts)) as page:
            assert b"No job yet" in page.read()
        with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
            urllib.request.urlopen(f"https://localhost:{port}/", timeout=60)
        with urllib.request.urlopen(trust, timeout=60) as page:
            assert shown.replace(":", " ")[:23] in page.read().decode()
        # Over plain http nothing but that page: all else is led to https.
        with pytest.raises(urllib.error.URLError, match="CERTIFICATE_VERIFY_FAILED"):
            urllib.request.urlopen(trust.replace("/trust", "/shop"), timeout=60)


def test_a_phone_of_the_network_signs_in_over_https_and_its_key_goes_nowhere_else(tmp_path):
    program, port = Path(sys.executable).with_name("proofpatch"), free_port(2)
    store = Store.open(tmp_path / "shop")
    set_passphrase(store, "three wet brushes dry")
    store.close()
    words = [program, "serve", "--folder", tmp_path / "shop", "--port", str(port), "--tls", "--network"]
    sleeping = contextlib.ExitStack()  # what the phone still holds open when the shop ends
    with sleeping, subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as server, ended(server):
        while line := server.stdout.readline():
            if "The shop is open at" in line:
                break
        trusts = ssl.create_default_context(cafile=tmp_path / "shop" / "tls" / "authority.pem")
        # A second loopback address: whoever asks there is a stranger, and no certificate names it.
        host, trusts.check_hostname = "127.0.0.2", False
        jar = http.cookiejar.CookieJar()
        phone = urllib.request.build_opener(
            urllib.request.HTTPSHandler(context=trusts), urllib.request.HTTPCookieProcessor(jar)
        )
        site = f"https://{host}:{port}"
        with once_up(lambda: phone.open(f"{site}/", timeout=60)) as page:
            assert page.url.startswith(f"{site}/door")
        form = urllib.parse.urlencode({"passphrase": "three wet brushes dry", "name": "Phone"}).encode()
        with phone.open(urllib.request.Request(f"{site}/door", form, {"Origin": site}), timeout=60) as page:
            assert b"No job yet" in page.read()
        (key,) = [one for one in jar if one.name == COOKIE]
        assert (key.secure, key.has_nonstandard_attr("HttpOnly")) == (True, True)
        elsewhere = urllib.request.Request(f"{site}/shop", b"name=x", {"Origin": f"https://evil.example:{port}"})
        with pytest.raises(urllib.error.HTTPError) as refused:
            phone.open(elsewhere, timeout=60)
        assert sleeping.enter_context(refused.value).code == 403
        # The plain port beside it shows how to trust, and gives a stranger of the network nothing else.
        with urllib.request.urlopen(f"http://{host}:{port + 1}/trust", timeout=60) as page:
            assert b"SHA-256" in page.read()
        plain = http.client.HTTPConnection(host, port + 1, timeout=60)
        plain.request("GET", "/shop")
        led = plain.getresponse()
        assert (led.status, led.getheader("location", "").startswith(site)) == (307, True)
        plain.close()


def test_the_port_beside_it_has_to_be_free_too(tmp_path, capsys):
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        with pytest.raises(SystemExit) as done:
            main(["serve", "--folder", str(tmp_path), "--port", str(held.getsockname()[1] - 1), "--tls"])
    assert (done.value.code, "is taken on this machine" in capsys.readouterr().err) == (2, True)


def test_only_whole_pages_of_jobs_may_be_kept(client, store, job):
    store.get("job", job.rsplit("/", 1)[1])
    assert [path for path in ("/", "/waiting", f"{job}/piece", f"{job}/piece?x=1", "/shop", "/new", "/trust",
                              "/static/style.css", f"{job}/nothing", f"/jobs/{'0' * 32}/piece", f"{job}/survey.pdf")
            if KEEP in client.get(path).headers] == ["/", "/waiting", f"{job}/piece", f"{job}/piece?x=1"]  # fmt: skip
    assert KEEP not in client.post(f"{job}/notes", data={"note": " "}).headers


def test_the_worker_carries_its_files_and_a_version_of_their_content(client):
    answer = client.get("/sw.js")
    assert (answer.headers["cache-control"], answer.text) == ("no-cache", worker_text())
    files = re.findall(r'"(/static/[^"]+)"', answer.text)
    assert {"/static/style.css", "/static/queue.js", "/static/proofpatch.webmanifest"} <= set(files)
    for path in files:
        assert client.get(path).status_code == 200, path
    assert re.search(r'"version": "[0-9a-f]{16}"', answer.text)


def test_plain_http_says_what_does_not_work(client):
    assert "What a phone cannot do over plain http" in seen(client.get("/shop"))
    page = seen(client.get("/trust"))
    assert "This shop is open on plain http" in page
    assert "photos by form work" in page
    assert client.get("/trust/proofpatch-shop.crt").status_code == 404
