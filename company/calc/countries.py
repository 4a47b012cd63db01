"""First guesses a country gives: units, paper, mains frequency, currency and time zone. All can be changed afterwards.

Currency codes: ISO 4217. Country codes: ISO 3166-1 alpha-2. Time zones: IANA tz database (zone.tab); a country with
several has the one most people live in. Mains frequency: IEC "World plugs" list of supplies by country; in Japan, where both
50 and 60 Hz are in use, that of Tokyo. Paper: common practice, no source (US Letter in North America and where it was
adopted from there). Units: common practice, no source (cable lengths are sold in feet in the United States).
"""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Country:
    code: str
    name: str
    time_zone: str
    currency: str
    mains_hz: int = 50
    paper: str = "a4"
    units: str = "metric"


_ROWS = """
AR|Argentina|America/Argentina/Buenos_Aires|ARS|50
AT|Austria|Europe/Vienna|EUR|50
AU|Australia|Australia/Sydney|AUD|50
BE|Belgium|Europe/Brussels|EUR|50
BG|Bulgaria|Europe/Sofia|EUR|50
BR|Brazil|America/Sao_Paulo|BRL|60
CA|Canada|America/Toronto|CAD|60|letter
CH|Switzerland|Europe/Zurich|CHF|50
CL|Chile|America/Santiago|CLP|50|letter
CN|China|Asia/Shanghai|CNY|50
CO|Colombia|America/Bogota|COP|60|letter
CY|Cyprus|Asia/Nicosia|EUR|50
CZ|Czechia|Europe/Prague|CZK|50
DE|Germany|Europe/Berlin|EUR|50
DK|Denmark|Europe/Copenhagen|DKK|50
EE|Estonia|Europe/Tallinn|EUR|50
ES|Spain|Europe/Madrid|EUR|50
FI|Finland|Europe/Helsinki|EUR|50
FR|France|Europe/Paris|EUR|50
GB|United Kingdom|Europe/London|GBP|50
GR|Greece|Europe/Athens|EUR|50
HK|Hong Kong|Asia/Hong_Kong|HKD|50
HR|Croatia|Europe/Zagreb|EUR|50
HU|Hungary|Europe/Budapest|HUF|50
IE|Ireland|Europe/Dublin|EUR|50
IL|Israel|Asia/Jerusalem|ILS|50
IN|India|Asia/Kolkata|INR|50
IS|Iceland|Atlantic/Reykjavik|ISK|50
IT|Italy|Europe/Rome|EUR|50
JP|Japan|Asia/Tokyo|JPY|50
KE|Kenya|Africa/Nairobi|KES|50
KR|South Korea|Asia/Seoul|KRW|60
LT|Lithuania|Europe/Vilnius|EUR|50
LU|Luxembourg|Europe/Luxembourg|EUR|50
LV|Latvia|Europe/Riga|EUR|50
MT|Malta|Europe/Malta|EUR|50
MX|Mexico|America/Mexico_City|MXN|60|letter
MY|Malaysia|Asia/Kuala_Lumpur|MYR|50
NG|Nigeria|Africa/Lagos|NGN|50
NL|Netherlands|Europe/Amsterdam|EUR|50
NO|Norway|Europe/Oslo|NOK|50
NZ|New Zealand|Pacific/Auckland|NZD|50
PH|Philippines|Asia/Manila|PHP|60|letter
PL|Poland|Europe/Warsaw|PLN|50
PT|Portugal|Europe/Lisbon|EUR|50
RO|Romania|Europe/Bucharest|RON|50
RS|Serbia|Europe/Belgrade|RSD|50
SE|Sweden|Europe/Stockholm|SEK|50
SG|Singapore|Asia/Singapore|SGD|50
SI|Slovenia|Europe/Ljubljana|EUR|50
SK|Slovakia|Europe/Bratislava|EUR|50
TH|Thailand|Asia/Bangkok|THB|50
TR|Türkiye|Europe/Istanbul|TRY|50
TW|Taiwan|Asia/Taipei|TWD|60
UA|Ukraine|Europe/Kyiv|UAH|50
US|United States|America/New_York|USD|60|letter|imperial
UY|Uruguay|America/Montevideo|UYU|50
ZA|South Africa|Africa/Johannesburg|ZAR|50
"""


def _read(row: str) -> Country:
    code, name, zone, currency, mains, *rest = row.split("|")
    paper, units = [*rest, *["a4", "metric"][len(rest) :]]
    return Country(code=code, name=name, time_zone=zone, currency=currency, mains_hz=int(mains), paper=paper, units=units)


COUNTRIES: dict[str, Country] = {c.code: c for c in map(_read, _ROWS.split("\n")[1:-1])}


def first_guesses(code: str) -> Country | None:
    """Return what a country suggests, or None for one not in the table: nothing is then guessed."""
    return COUNTRIES.get(code.upper())
