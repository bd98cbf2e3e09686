"""What every reader must be told before metal is made (handbook section 11); the report and Blender's panel show the same lines."""

CAUTIONS = (
    "Not a certified medical device. For training and research, unless the manufacturer who answers for the denture has validated it.",
    "A qualified clinician prescribes and approves every design. Nothing here is made for a patient without that signature.",
    "Try the framework on the cast and in the mouth. An error of the scan, or another tilt of the path, changes every undercut.",
    "Before manufacture compare unit and scale of the file with the cast.",
    "Forces, stresses and masses are estimates with a wide band.",
    "The alloy has to conform to ISO 22674, type 5 (type 4 where its use allows). Ask about allergy to cobalt, chromium and nickel.",
    "Keep names and other personal data out of the case file; use a patient's data only with consent.",
    "The checks can miss faults. A passed check is no proof of fit.",
)
