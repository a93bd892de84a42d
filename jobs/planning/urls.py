from __future__ import annotations

from django.urls import path

from jobs.planning import views

app_name = "planning"
urlpatterns = [
    path("customers/", views.customers, name="customers"),
    path("customers/new", views.customer_new, name="customer-new"),
    path("customers/<uuid:pk>/", views.customer, name="customer"),
    path("customers/<uuid:pk>/edit", views.customer_edit, name="customer-edit"),
    path("customers/<uuid:pk>/sites/new", views.site_new, name="site-new"),
    path("sites/<uuid:pk>/", views.site, name="site"),
    path("sites/<uuid:pk>/edit", views.site_edit, name="site-edit"),
    path("jobs/new", views.job_new, name="job-new"),
    path("jobs/<uuid:pk>/edit", views.job_edit, name="job-edit"),
    path("jobs/<uuid:pk>/hold", views.job_hold, name="job-hold"),
    path("jobs/<uuid:pk>/resume", views.job_resume, name="job-resume"),
    path("jobs/<uuid:pk>/cancel", views.job_cancel, name="job-cancel"),
    path("instruments/", views.instruments, name="instruments"),
    path("instruments/new", views.instrument_new, name="instrument-new"),
    path("instruments/<uuid:pk>/edit", views.instrument_edit, name="instrument-edit"),
    path("fluids/", views.products, name="products"),
    path("fluids/new", views.product_new, name="product-new"),
    path("fluids/<uuid:pk>/edit", views.product_edit, name="product-edit"),
    path("limits/", views.rule_sets, name="rule-sets"),
    path("limits/starters", views.starters, name="starters"),
    path("limits/<uuid:pk>/", views.rule_set, name="rule-set"),
    path("limits/<uuid:pk>/new-version", views.rule_set_version, name="rule-set-version"),
]
