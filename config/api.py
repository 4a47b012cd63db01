"""The HTTP API under /api/: each floor's router, one error shape, docs behind sign-in."""

from django.contrib.auth.decorators import login_required
from ninja import NinjaAPI

from company.api import JsonBody, SessionPerson, TokenPerson, add_error_shape
from inventory.api import router as inventory_router
from maintenance.api import router as maintenance_router
from maintenance.api_alerts import router as alerts_router
from maintenance.api_cells import router as cells_router
from shows.api import router as shows_router

api = NinjaAPI(
    title="Knowngood",
    version="1",
    description="A live-sound company's record of gear. Times are ISO 8601 with an offset; codes are eight characters.",
    urls_namespace="api",
    auth=[TokenPerson(), SessionPerson()],
    parser=JsonBody(),
    docs_decorator=login_required,
)
add_error_shape(api)
api.add_router("", inventory_router)
api.add_router("", maintenance_router)
api.add_router("", cells_router)
api.add_router("", alerts_router)
api.add_router("", shows_router)
