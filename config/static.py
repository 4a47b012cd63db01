"""Static files under names that change with their content, so that a browser may keep them for good."""

from whitenoise.storage import CompressedManifestStaticFilesStorage


class StampedStatic(CompressedManifestStaticFilesStorage):
    """Name a file by its content once `collectstatic` has gathered it; until then by its plain name, served by the finders."""

    manifest_strict = False
    support_js_module_import_aggregation = True

    def stored_name(self, name: str) -> str:
        return self.hashed_files.get(self.hash_key(self.clean_name(name)), name)
