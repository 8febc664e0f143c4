"""Pages on which papers are sent, signed and read, and what is sent to them."""

import base64
import io
import re

from made_pages import seen
from PIL import Image, ImageDraw
from pypdf import PdfReader

TICKED = {"tick-0": "yes", "tick-1": "yes"}


def drawn(size=(640, 200), points=((60, 140), (160, 40), (300, 150), (560, 60))):
    picture = Image.new("RGBA", size)
    ImageDraw.Draw(picture).line(points, fill=(250, 250, 250, 255), width=5)  # the pale ink of a dark page
    out = io.BytesIO()
    picture.save(out, "PNG")
    return f"data:image/png;base64,{base64.b64encode(out.getvalue()).decode()}"


def squeezed(text):
    return re.sub(r"\s", "", text)


def pdf_text(answer):
    assert answer.status_code == 200
    assert answer.headers["content-type"] == "application/pdf"
    return squeezed("".join(one.extract_text() for one in PdfReader(io.BytesIO(answer.content)).pages))


class Pages:
    """The pages of one job."""

    def __init__(self, client, store, entry):
        self.client, self.store, self.key, self.base = client, store, entry.id, f"/jobs/{entry.id}"

    def get(self, path):
        return self.client.get(f"{self.base}{path}")


class Counter(Pages):
    """With what is sent to them at the counter."""

    def post(self, path, **form):
        version = self.store.get("job", self.key).version
        return self.client.post(f"{self.base}{path}", data={"version": version, **form})

    def mark(self):
        return re.search(r'name="mark" value="([^"]*)"', self.get("/quote").text)[1]

    def send(self):
        answer = self.post("/quotes", mark=self.mark())
        assert answer.status_code == 303, seen(answer)
        return answer.headers["location"].removeprefix(self.base)

    def accept(self, quote, **form):
        return self.post(f"{quote}/accept", **{"name": "A. Fenwick", "signature": drawn(), **TICKED, **form})
