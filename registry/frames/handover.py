"""The files that the limited process hands over, by name; work.py writes them and intake.py reads them."""

REPORT, PIXELS = "report.json", "pixels.npy"
PICTURE, THUMBNAIL = "picture.jpg", "thumbnail.jpg"
KEPT_JPEG, KEPT_TIFF = "kept.jpg", "kept.tif"
