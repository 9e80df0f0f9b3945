"""Words of headers and cells, as data: what a field log, an instrument or a laboratory writes.

To teach a word, add it to a table here. Header words are compared without case, spaces and
punctuation ("Sample ID", "sample_id", "SAMPLE-ID" are all ``sampleid``). All entries are common
practice, no source.
"""

from __future__ import annotations

import re

#: column of the contract -> headers, the surest first
COLUMNS: dict[str, tuple[str, ...]] = {
    "id": (
        "sampleid", "sample", "samplenumber", "sampleno", "samplenr", "samplename", "samplenum",
        "samplecode", "sampleref", "sampleidentifier", "samplelabel", "sampid", "sampno", "samp",
        "smpid", "smpno", "sid", "specimen", "specimenid", "labid", "labno", "labnumber",
        "labsampleid", "fieldid", "fieldno", "fieldnumber", "id", "name", "tag", "ticket",
        "ticketno", "bag", "bagno", "barcode", "siteid", "site", "siteno", "stationid",
        "probe", "probenr", "probennr", "probenummer", "probennummer", "muestra", "idmuestra",
        "nomuestra", "numeromuestra", "echantillon", "noechantillon", "amostra",
    ),
    "x": (
        "x", "easting", "eastingm", "east", "eastingutm", "utme", "utmeast", "utmeasting", "utmx",
        "xutm", "xcoord", "xcoordinate", "coordx", "coordinatex", "eastings", "mgae", "e",
        "longitude", "longitudedd", "lon", "long", "longdd", "londd", "longdec", "londec",
        "declong", "declon", "decimallongitude", "xlon", "lonwgs84", "longitudewgs84", "lng",
        "este", "rechtswert", "longitud", "laengengrad", "längengrad",
    ),
    "y": (
        "y", "northing", "northingm", "north", "northingutm", "utmn", "utmnorth", "utmnorthing",
        "utmy", "yutm", "ycoord", "ycoordinate", "coordy", "coordinatey", "northings", "mgan", "n",
        "latitude", "latitudedd", "lat", "latdd", "latdec", "declat", "decimallatitude", "ylat",
        "latwgs84", "latitudewgs84", "norte", "hochwert", "latitud", "breitengrad",
    ),
    "medium": ("medium", "samplemedium", "media", "samplemedia", "sampletype", "materialtype",
               "material", "matrixtype", "medio"),
    "kind": ("kind", "rocksampletype", "samplekind", "exposure"),
    "grid": ("grid", "gridname", "gridid", "block", "prospect"),
    "line": ("line", "lineno", "lineid", "linenumber", "gridline", "profile", "traverse"),
    "station": ("station", "stn", "stationno", "peg", "siteid", "site"),
    "planned_id": ("plannedid", "planid", "planned", "plannedpoint", "plannedsite"),
    "horizon": ("horizon", "soilhorizon", "hor"),
    "depth_from": ("depthfrom", "from", "fromdepth", "depthtop", "topdepth", "depthmin",
                   "fromm", "upperdepth"),
    "depth_to": ("depthto", "to", "todepth", "depthbottom", "bottomdepth", "depthmax", "tom",
                 "lowerdepth"),
    "depth": ("depth", "depthinterval", "depthrange", "sampledepth", "interval"),
    "fraction_um": ("fractionum", "fraction", "sizefraction", "sizefractionum"),
    "regolith": ("regolith", "regolithtype", "cover", "regolithunit"),
    "lithology": ("lithology", "lith", "rocktype", "rock", "litho", "lithologycode", "bedrock"),
    "alteration": ("alteration", "alterationtype"),
    "elevation": ("elevation", "elev", "ele", "altitude", "rl", "z", "height", "zcoord", "elevationm"),
    "accuracy_m": ("accuracym", "accuracy", "gpsaccuracy", "gpsprecision", "positionaccuracy",
                   "epe", "gpserror"),
    "date": ("date", "datesampled", "sampledate", "samplingdate", "datecollected", "colldate",
             "collectiondate", "collected", "collecteddate", "fielddate", "datum", "fecha"),
    "time": ("time", "datetime", "timestamp", "readingtime", "readtime", "measuredat",
             "measurementtime", "testtime", "analysistime", "timeofreading", "hour", "dateread",
             "readingdate", "readdate", "analysisdate", "dateanalysed", "dateanalyzed",
             "measurementdate", "testdate"),
    "crew": ("crew", "sampler", "sampledby", "collector", "collectedby", "geologist", "team",
             "samplers", "operator"),
    "role": ("role", "qctype", "qaqctype", "qaqc", "qc", "controltype", "samplerole",
             "qccode", "checktype", "sampleclass"),
    "parent": ("parent", "parentid", "parentsample", "duplicateof", "dupof", "originalsample",
               "originalid", "originalsampleid", "original", "repeatof", "primarysample",
               "parentsampleid"),
    "standard": ("standard", "standardid", "standardname", "crm", "crmid", "stdid", "std",
                 "referencematerial", "standardcode"),
    "prep_batch": ("prepbatch", "preparationbatch", "prepbatchid", "prepjob"),
    "prep_order": ("preporder", "preparationorder", "preporderno", "prepsequence"),
    "sieve_um": ("sieveum", "sieve", "sievesize", "sievemicron", "meshum"),
    "powder_ml": ("powderml", "powder", "powdervolume", "powdervolumeml"),
    "die_mm": ("diemm", "die", "diediameter", "diesize"),
    "die_fill": ("diefill", "diefilling", "fill"),
    "binder_pct": ("binderpct", "binder", "binderpercent"),
    "mill": ("mill", "millid", "milltype", "pulveriser", "pulverizer"),
    "moisture_pct": ("moisturepct",),
    "notes": ("notes", "note", "comments", "comment", "remarks", "remark", "description",
              "observations", "bemerkung", "observaciones"),
    "received": ("received", "datereceived", "receiveddate", "reported", "reportdate",
                 "datereported", "reportdate", "certificatedate", "finalised", "finalized"),
    "crs": ("crs", "epsg", "coordinatesystem", "gridsystem"),
    "zone": ("zone", "utmzone", "zoneutm", "gridzone", "utmz", "mgazone", "zona", "huso"),
    "hemisphere": ("hemisphere", "hemi", "utmhemisphere", "zonehemisphere"),
    "datum": ("datum", "geodeticdatum", "mapdatum", "horizontaldatum", "griddatum"),
    "mgrs": ("mgrs", "mgrsreference", "mgrsref", "gridreference", "gridref", "usng"),
    "latlon": ("latlon", "latlong", "latitudelongitude", "coordinates", "coordinate", "coords",
               "position", "gps", "gpsposition", "gpscoordinates", "location", "koordinaten",
               "coordenadas"),
    "stage": ("stage", "phase", "campaign", "campaignname", "survey", "surveyname", "programme",
              "project", "projectname"),
    # of readings and laboratory results
    "batch": ("batch", "batchid", "batchno", "job", "jobno", "jobnumber", "labjob", "labjobno",
              "workorder", "certificate", "certificateno", "reportno", "submission", "despatch",
              "dispatch", "order", "orderno", "labbatch"),
    "instrument": ("instrument", "instrumentid", "instrumentsn", "instrumentserial",
                   "instrumentserialnumber", "serial", "serialno", "serialnumber", "device",
                   "deviceid", "analyser", "analyzer", "analyserid", "unitid"),
    "mode": ("mode", "instrumentmode", "analysismode", "testmode", "calibrationmode", "program",
             "readingmode", "application", "appmode"),
    "reading": ("reading", "readingno", "readingnumber", "readingid", "readno", "shot", "shotno",
                "shotnumber", "testno", "testnumber", "testid", "measurement", "measurementno",
                "replicate", "repeatno", "rdg", "rdgno"),
    "seconds": ("seconds", "duration", "totaltime", "livetime", "elapsedtime", "testduration",
                "counttime", "readingseconds", "livetimetotal", "elapsedtimetotal",
                "measurementtimes"),
    "method": ("method", "methodcode", "analysismethod", "analyticalmethod", "labmethod",
               "methodname", "technique"),
    "digestion": ("digestion", "digest", "digestmethod"),
    "laboratory": ("laboratory", "lab", "labname", "laboratoryname"),
    # of long tables
    "analyte": ("analyte", "element", "parameter", "determinand", "component", "analytename",
                "elementsymbol", "constituent", "chemical", "variable", "species", "symbol",
                "analytecode", "analytesymbol"),
    "value": ("value", "result", "results", "concentration", "conc", "reportedvalue",
              "resultvalue", "assayvalue", "grade", "content", "measured", "finalresult",
              "numericresult", "resultnumeric"),
    "unit": ("unit", "units", "uom", "unitofmeasure", "resultunit", "valueunit", "unitsofmeasure"),
    "error": ("error", "err", "uncertainty", "sigma", "1sigma", "2sigma", "3sigma", "1s", "2s",
              "3s", "sd1", "errorvalue", "plusminus"),
    "limit": ("limit", "lod", "detectionlimit", "dl", "mdl", "lld", "ldl", "reportinglimit",
              "lowerlimit", "lowerdetectionlimit", "limitofdetection", "detlimit", "lowlimit"),
    "limit_high": ("upperlimit", "upperdetectionlimit", "udl", "highlimit", "limithigh"),
    "qualifier": ("qualifier", "flag", "qual", "sign", "resultflag", "modifier", "lessthan",
                  "resultqualifier", "prefix", "ltgt"),
    # of standards
    "certified": ("certified", "certifiedvalue", "cert", "certvalue", "expected",
                  "expectedvalue", "accepted", "acceptedvalue", "recommended", "recommendedvalue",
                  "referencevalue", "assigned", "assignedvalue", "mean"),
    "sd": ("sd", "stdev", "standarddeviation", "1sd", "2sd", "stddev", "std1", "betweenlabsd",
           "interlabsd", "sigmacert"),
    "kind_of_sd": ("kindofsd", "sdkind", "sdtype", "typeofsd"),
    "n": ("n", "nlabs", "numberoflabs", "numberoflaboratories", "count", "nlab"),
    "status": ("status", "valuestatus", "certification", "certstatus", "class"),
    "matrix": ("matrix", "matrixdescription", "standardmatrix", "type"),
}  # fmt: skip

#: the columns each kind of table may hold; an earlier one takes a header first
FIELD_COLUMNS = (
    "id", "x", "y", "medium", "kind", "grid", "line", "station", "planned_id", "horizon",
    "depth_from", "depth_to", "depth", "fraction_um", "regolith", "lithology", "alteration",
    "elevation", "accuracy_m", "date", "time", "crew", "role", "parent", "standard",
    "prep_batch", "prep_order", "sieve_um", "powder_ml", "die_mm", "die_fill", "binder_pct",
    "mill", "moisture_pct", "notes", "received", "crs", "zone", "hemisphere", "datum", "mgrs",
    "latlon", "stage",
)  # fmt: skip
ASSAY_COLUMNS = (
    "id", "batch", "instrument", "mode", "reading", "seconds", "time", "date", "received",
    "method", "digestion", "laboratory", "role", "parent", "standard",
    "analyte", "value", "unit", "error", "limit", "limit_high", "qualifier",
)  # fmt: skip
STANDARD_COLUMNS = (
    "standard", "analyte", "certified", "sd", "unit", "method", "digestion", "kind_of_sd", "n",
    "status", "matrix", "value",
)  # fmt: skip

#: in a table of readings a column of this name is the day of reading, no other date is
DAY_OF_READING = ("date", "datum", "fecha")
#: in a table of standards the name of a standard may stand under these too
STANDARD_NAMES = (*COLUMNS["standard"], "name", "id", "sample", "sampleid", "material")

#: a running number: never an element, and never trusted to be a sample id
RUNNING_NUMBER = frozenset(
    {"no", "nr", "number", "row", "rowno", "seq", "sequence", "index", "lfdnr", "recno",
     "record", "item", "sno", "fid", "objectid", "ogcfid"}
)  # fmt: skip

#: medium as written -> medium as stored
MEDIA: dict[str, str] = {
    "soil": "soil", "soils": "soil", "soilsample": "soil", "boden": "soil", "suelo": "soil",
    "streamsediment": "stream sediment", "streamsediments": "stream sediment",
    "streamsed": "stream sediment", "stream": "stream sediment", "sediment": "stream sediment",
    "ss": "stream sediment", "sed": "stream sediment", "stsed": "stream sediment",
    "drainagesediment": "stream sediment", "stsd": "stream sediment",
    "rock": "rock", "rocks": "rock", "rockchip": "rock", "rockchips": "rock", "chip": "rock",
    "rocksample": "rock", "grab": "rock", "outcrop": "rock", "float": "rock", "channel": "rock",
    "rk": "rock", "roca": "rock", "rockgrab": "rock",
    "till": "till", "basaltill": "till", "glacialtill": "till",
    "vegetation": "vegetation", "plant": "vegetation", "biogeochemical": "vegetation",
    "lakesediment": "lake sediment", "lakesed": "lake sediment",
    "water": "water", "core": "core", "drillcore": "core", "heavymineralconcentrate":
    "heavy mineral concentrate", "hmc": "heavy mineral concentrate", "panconcentrate":
    "heavy mineral concentrate", "laterite": "laterite", "calcrete": "calcrete",
    "termitemound": "termite mound", "mmi": "soil", "auger": "soil",
}  # fmt: skip
#: a medium word that says how a rock came to hand
ROCK_KINDS: dict[str, str] = {
    "outcrop": "outcrop", "float": "float", "channel": "channel", "dump": "dump",
}  # fmt: skip

#: role as written -> role as stored; None: a control, but which kind is not said
ROLE_WORDS: dict[str, str] = {
    "routine": "routine", "sample": "routine", "normal": "routine", "primary": "routine",
    "original": "routine", "regular": "routine", "orig": "routine", "unknown": "routine",
    "standard": "standard", "std": "standard", "crm": "standard", "reference": "standard",
    "referencematerial": "standard", "certifiedreference": "standard", "srm": "standard",
    "blank": "blank", "blk": "blank", "coarseblank": "coarse_blank", "pulpblank": "pulp_blank",
    "quartzblank": "coarse_blank",
    "fieldduplicate": "field_duplicate", "fielddup": "field_duplicate", "fd": "field_duplicate",
    "fdup": "field_duplicate", "cdup": "coarse_duplicate", "pdup": "pulp_duplicate",
    "dup": "field_duplicate", "duplicate": "field_duplicate",
    "coarseduplicate": "coarse_duplicate", "coarsedup": "coarse_duplicate",
    "crushduplicate": "coarse_duplicate", "prepduplicate": "coarse_duplicate",
    "rejectduplicate": "coarse_duplicate",
    "pulpduplicate": "pulp_duplicate", "pulpdup": "pulp_duplicate",
    "labduplicate": "pulp_duplicate", "laboratoryduplicate": "pulp_duplicate",
    "repeat": "repeat", "rpt": "repeat", "labrepeat": "repeat", "check": "repeat",
    "reread": "reread", "reassay": "reread", "reanalysis": "reread", "rerun": "reread",
    "reassayed": "reread", "umpire": "umpire", "umpirecheck": "umpire",
}  # fmt: skip
#: headers under which roles or something else may stand: the cells decide
MAYBE_ROLES = ("type", "sampletype", "class", "category", "samplecategory", "code", "samplecode")
#: words that leave open which kind of duplicate or check is meant
VAGUE_ROLES = frozenset({"dup", "duplicate", "check"})

#: digestion as written -> as stored
DIGESTIONS = ("total", "near-total", "partial", "weak", "unknown")

_SQUEEZE = re.compile(r"[\W_]+")


def squeeze(text: str) -> str:
    """Bring a header or word to the form in which the tables above hold it.

    Parameters
    ----------
    text : str
        As delivered.

    Returns
    -------
    str
        Without case, spaces and punctuation.

    Examples
    --------
    >>> squeeze("Sample ID"), squeeze("Duplicate_of")
    ('sampleid', 'duplicateof')
    """
    return _SQUEEZE.sub("", text.casefold())
