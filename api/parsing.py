"""Reading JSON bodies from anyone."""

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class GuardedJSONParser(JSONParser):
    """The framework's parser, which also refuses nesting that would exhaust the stack."""

    def parse(self, stream, media_type=None, parser_context=None):
        try:
            return super().parse(stream, media_type, parser_context)
        except RecursionError as error:
            raise ParseError("The JSON nests too deeply.") from error
