"""What can hurt when photographing in infrared. Words of caution only: qualified people and local rules decide."""

SUN = (
    "Never look at the sun through any filter or optical finder. An infrared filter that looks black is no eye "
    "protection."
)
SENSOR = (
    "Don’t point the camera at the sun for longer than a frame needs: it can burn shutter, sensor and filter."
)
LAMPS = (
    "Infrared lamps can harm eyes that see nothing of them. Keep to the lamp’s stated risk group (IEC 62471) and "
    "distance. Halogen lamps burn hot: let them cool, and keep cloth and paper away."
)
CAMERA = (
    "Opening a camera exposes a flash capacitor that can kill, also hours after it was switched off. Leave "
    "conversions to qualified people."
)
PLACES = "Drones, railways, airports, other people’s land: local rules hold."

CAUTIONS = (SUN, SENSOR, LAMPS, CAMERA, PLACES)
