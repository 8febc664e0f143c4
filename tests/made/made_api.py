"""Jobs and grades as a program sends them, and how an answer that is no has to look."""

from pathlib import Path

from made_lead import DAY

ROOT = Path(__file__).resolve().parents[2]
EXAMPLES = ROOT / "docs" / "examples"
HERE = "http://127.0.0.1"
JSON = {"Content-Type": "application/json"}
LAB = {"status": "negative", "method": "laboratory test of a chip", "date": DAY}
PAN = {
    "job": {"title": "Skillet"}, "evidence": {"kind": "grease", "substrate": "cast-iron", "year": "2020"}, "lead": LAB,
}  # fmt: skip
DOOR = {"job": {"title": "Door"}, "surface": {"substrate": "oak"}, "layers": [{"coating": "alkyd-paint"}]}
PIPE = {"job": {"title": "Pipe"}, "surface": {"substrate": "oak"}, "layers": [{"coating": "PVC"}]}
SETTING = {
    "average_power_W": 250.0, "repetition_rate_Hz": 20e3, "pulse_width_s": 2e-7, "spot_radius_m": 0.45e-3,
    "sweep_width_m": 0.1, "sweep_speed_m_s": 10.0, "travel_speed_m_s": 0.05,
}  # fmt: skip
GRADE = {"setting": SETTING, "residue": "partial", "harm": "none"}


def made(client, tables):
    answer = client.post("jobs", json={"tables": tables})
    assert answer.status_code == 201, answer.text
    return answer.json()["id"]


def wrong(answer, status=422):
    """The field of an error, which is one sentence and a remedy, whatever it was."""
    assert answer.status_code == status, answer.text
    body = answer.json()
    assert set(body) == {"field", "problem", "remedy"} | ({"version", "kept"} if status == 409 else set())
    assert len(body["problem"]) <= 1000
    assert "--" not in f"{body['field']} {body['problem']} {body['remedy']}"
    return body["field"]
